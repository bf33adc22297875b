"""The layout of a site-season: its plots, and what is odd about them as a whole."""

from collections import Counter
from collections.abc import Iterator

import pandas as pd

from trialkit.intake.cells import Typed
from trialkit.intake.context import Context, Layout
from trialkit.intake.problems import Problem, rows_where
from trialkit.study import Study

# Entries under "lost" that give no reason: a plain no is a mistake, a plain yes lacks the why.
_NO = ("no", "n", "false", "0", "none", "ok")
_YES = ("yes", "y", "true", "1", "lost")


def layout_of(typed: Typed, kept: pd.DataFrame) -> Layout:
    """Return what other tables are held against; ``kept`` are the plots without an error."""
    frame = typed.frame[typed.frame["plot"].notna()].drop_duplicates("plot")
    treatment = dict(zip(frame["plot"], frame["treatment"], strict=True))
    blocked = frozenset(treatment) - frozenset(kept["plot"])
    lost = kept[kept["lost"].notna()]
    return Layout(treatment, blocked, dict(zip(lost["plot"], lost["lost"], strict=True)))


def plot_problems(typed: Typed, context: Context) -> Iterator[Problem]:
    """Plants that are missing or zero, and loss told without a reason."""
    frame = typed.frame
    stands = frame["lost"].isna()
    told = [row for p in typed.problems if p.column == "plants" for row in p.rows]
    none = stands & (frame["plants"] == 0)
    if none.any():
        yield Problem(
            "no_plants",
            "the plot has no plants, yet is not called lost",
            "Type the number of plants, or the reason under 'lost'",
            rows_where(none),
            "plants",
        )
    empty = stands & frame["plants"].isna() & ~frame.index.isin(told)
    if "plants" in typed.sheet.cells and empty.any():
        yield Problem(
            "plants_missing",
            "the number of plants is empty; measures per plant cannot be worked out",
            "Type the number of plants",
            rows_where(empty),
            "plants",
            "question",
        )
    yield from _lost_without_reason(frame)


def _lost_without_reason(frame: pd.DataFrame) -> Iterator[Problem]:
    said = frame["lost"].str.casefold()
    for words, what, severity in (
        (_NO, "'{value}' is not a reason for losing a plot", "error"),
        (_YES, "the plot is lost, but '{value}' does not say why", "question"),
    ):
        mask = said.isin(words)
        if mask.any():
            yield Problem(
                "lost_reason",
                what,
                "Type the reason, such as flooded; leave the cell empty for a plot that stands",
                rows_where(mask),
                "lost",
                severity,  # type: ignore[arg-type]
            )


def balance_notes(plots: pd.DataFrame, study: Study) -> Iterator[Problem]:
    """Notes on blocks that do not hold every treatment once, and treatments not laid out."""
    if plots.empty:
        return
    blocks, treatments = sorted(plots["block"].unique()), sorted(plots["treatment"].unique())
    count = Counter(zip(plots["block"], plots["treatment"], strict=True))
    uneven = [
        f"block {block} has {treatment} {count[block, treatment]} times"
        for block in blocks
        for treatment in treatments
        if count[block, treatment] != 1
    ]
    if uneven:
        shown = "; ".join(uneven[:4]) + (f"; and {len(uneven) - 4} more" if uneven[4:] else "")
        yield Problem(
            "unbalanced_layout",
            f"blocks and treatments are not balanced: {shown}",
            "Nothing needs doing if the trial was laid out so; the analysis allows for it",
            severity="note",
        )
    absent = [name for name in study.treatment_ids if name not in treatments]
    if absent:
        checkless = study.check.id in absent
        yield Problem(
            "treatment_absent",
            f"no plot has {', '.join(absent)}",
            "Without the untreated check nothing can be compared here; look at the layout"
            if checkless
            else "Nothing needs doing if this site does without",
            severity="question" if checkless else "note",
        )


def presence_notes(
    tables: dict[str, pd.DataFrame], layout: Layout
) -> Iterator[tuple[str, Problem]]:
    """Notes (table, problem) on standing plots without rows and lost plots with rows."""
    for table in ("scouting", "ratings", "harvest"):
        frame = tables.get(table)
        if frame is None or frame.empty:
            continue
        seen = set(frame["plot"].unique())
        standing = [p for p in layout.treatment if p not in layout.blocked and p not in layout.lost]
        silent = [plot for plot in standing if plot not in seen]
        if silent:
            yield (
                table,
                Problem(
                    "plot_without_rows",
                    f"{'plots' if silent[1:] else 'plot'} {', '.join(silent)} never occur"
                    f"{'' if silent[1:] else 's'} here",
                    "Look whether a sheet is missing; a lost plot has its reason under 'lost'",
                    severity="question",
                ),
            )
        yield from ((table, problem) for problem in _lost_with_rows(frame, tables, layout))


def _lost_with_rows(
    frame: pd.DataFrame, tables: dict[str, pd.DataFrame], layout: Layout
) -> Iterator[Problem]:
    for plot, reason in layout.lost.items():
        since = _lost_since(tables.get("events"), plot, reason)
        dates = frame.loc[frame["plot"] == plot, "date"]
        after = dates if since is None else dates[dates > since]
        if len(after):
            when = "" if since is None else f" on {since.date()}"
            yield Problem(
                "lost_plot_with_data",
                f"plot {plot} was lost{when} ({reason}), yet has rows here, the last of "
                f"{after.max().date()}; they are not analysed",
                "Look whether the plot was really lost",
                rows_where(pd.Series(True, index=after.index))[:1],
                "plot",
                "note",
            )


def _lost_since(events: pd.DataFrame | None, plot: str, reason: str) -> pd.Timestamp | None:
    """Date of the plot's own event that its reason names, where there is one."""
    if events is None or events.empty:
        return None
    own = events[(events["plot"] == plot)]
    named = [str(event).casefold() in reason.casefold() for event in own["event"]]
    dates = own.loc[named, "date"]
    return dates.min() if len(dates) else None
