"""The protocol's dates: the window that was planned, and when things happened."""

from typing import Any, Final

import pandas as pd
from matplotlib.dates import date2num

from trialkit.figures import labels, theme
from trialkit.figures.blank import blank
from trialkit.figures.fit import text_width, wrap
from trialkit.figures.lanes import TimeAxis
from trialkit.figures.panel import Panel, placed
from trialkit.figures.picture import Picture
from trialkit.figures.rows import rows_of
from trialkit.study import Study

TEXT: Final = 2.0  # inches for the rule's words
RIGHT: Final = 0.1
TOP: Final = 0.34
AXIS: Final = 0.34
SIZE: Final = theme.SMALL
DATES: Final = ("planned_first", "planned_last", "happened_first", "happened_last")
LATE: Final = "#b0420a"


def timeline(study: Study, planned: pd.DataFrame) -> Picture:
    """Draw the planned window and the actual dates of each rule and treatment.

    ``planned`` has rule, what, treatment, kind ("event" or "visit"), planned_first, planned_last,
    happened_first, happened_last (dates) and kept; the rows of a rule about visits share a line.
    """
    if planned.empty:
        return blank("Planned and done", "The study states no protocol rule that can be drawn.")
    lines = _lines(study, planned)
    dates: list[Any] = [day for column in DATES for day in planned[column].dropna()]
    pad = pd.Timedelta(days=4)
    due = [kept for _, own, kept in lines if not _waits(own)]
    done = f"{sum(due)} of {len(due)} on time"
    room = text_width("not on record", SIZE, "bold") + 0.16
    axis = TimeAxis(min(dates) - pad, max(dates) + pad, theme.WIDTH - TEXT - room - RIGHT)
    names = [wrap(name, TEXT - 0.2, SIZE) for name, _, _ in lines]
    row = max(0.3, *(theme.LINE * (1 + name.count("\n")) + 0.1 for name in names))
    with theme.drawing(TOP + row * len(lines) + AXIS) as figure:
        theme.heading(figure, 0.06, f"Planned and done: {done}")
        size = axis.width, row * len(lines)
        panel = placed(figure, (TEXT, TOP), size, axis.limits, (len(lines) - 0.5, -0.5))
        panel.axis_below(axis.ticks)
        for place, ((_, own, _), name) in enumerate(zip(lines, names, strict=True)):
            _draw_line(panel, place, own)
            _beside(panel, place, name, _outcome(own))
        late = [f"{name}: {_outcome(own)}" for name, own, kept in lines if not kept]
        alt = f"Protocol: {done}. {'; '.join(late)}".rstrip() + ("." if late else "")
        return theme.finish(figure, alt, _CAPTION, planned)


_CAPTION: Final = (
    "Pale bars: the window that the protocol allows. Dots: when it happened; crosses: when it"
    " happened outside the window. A rule about visits has a dot for every visit."
)


def _lines(study: Study, planned: pd.DataFrame) -> list[tuple[str, list[Any], bool]]:
    """One line per rule and treatment; visits of all treatments alike share one."""
    lines = []
    for _, rule in planned.groupby("rule", sort=False):
        visits = rule["kind"].iloc[0] == "visit"
        parts = [("", rule)] if visits else list(rule.groupby("treatment", sort=False))
        for treatment, own in parts:
            several = len(parts) > 1
            who = f" ({study.treatment(str(treatment)).label})" if several else ""
            lines.append((f"{own['what'].iloc[0]}{who}", rows_of(own), bool(own["kept"].all())))
    return lines


def _draw_line(panel: Panel, place: int, own: list[Any]) -> None:
    for kept, marker, colour in ((True, "o", theme.CHECK), (False, "X", LATE)):
        days = [d for r in own if bool(r.kept) is kept for d in (r.happened_first, r.happened_last)]
        seen = sorted({float(date2num(day)) for day in days if not pd.isna(day)})
        panel.line(seen, [place] * len(seen), ls="", marker=marker, ms=6, color=colour,
                   mec="white", mew=0.6, zorder=3)  # fmt: skip
    if own[0].kind == "event" and not pd.isna(own[0].planned_first):
        first, last = own[0].planned_first, own[0].planned_last
        panel.line(
            [float(date2num(first)) - 0.4, float(date2num(last)) + 0.4], [place, place],
            color=theme.RULE, lw=9, solid_capstyle="butt",
        )  # fmt: skip


def _waits(own: list[Any]) -> bool:
    """True for an event that no plot has had yet, and that is not due yet."""
    return own[0].kind == "event" and all(r.kept and pd.isna(r.happened_first) for r in own)


def _outcome(own: list[Any]) -> str:
    """How far outside its window a rule was, at worst."""
    if _waits(own):
        return "not due yet"
    late = [row for row in own if not row.kept]
    if not late:
        return "on time"
    if own[0].kind == "visit":
        return labels.plural(len({row.happened_first for row in late}), "late visit")
    worst = max(late, key=lambda row: _days_off(row))
    if pd.isna(worst.happened_last):
        return "not on record"
    if pd.isna(worst.planned_last):
        return "no date planned"
    side = "late" if worst.happened_last > worst.planned_last else "early"
    return f"{labels.plural(_days_off(worst), 'day')} {side}"


def _days_off(row: Any) -> int:
    if pd.isna(row.happened_last) or pd.isna(row.planned_last):
        return 0
    after = (row.happened_last - row.planned_last).days
    return int(max(after, (row.planned_first - row.happened_first).days))


def _beside(panel: Panel, place: int, name: str, outcome: str) -> None:
    look: Any = {"fontsize": SIZE, "va": "center"}
    panel.beside(name, 0, place, (-72 * (TEXT - 0.08), 0), linespacing=1.0, **look)
    quiet = outcome in ("on time", "not due yet")
    weight, colour = ("normal", theme.SOFT) if quiet else ("bold", theme.INK)
    panel.beside(outcome, 1, place, (8, 0), weight=weight, color=colour, **look)
