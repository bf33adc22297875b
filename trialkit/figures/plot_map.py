"""The field from above: every plot shaded by a measure, lost plots crossed out."""

from functools import cache
from typing import Any, Final

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.colors import Colormap, Normalize, to_hex
from matplotlib.figure import Figure

from trialkit.figures import labels, theme
from trialkit.figures.fit import text_width, wrap
from trialkit.figures.panel import Panel, placed
from trialkit.figures.picture import Picture
from trialkit.figures.rows import rows_of
from trialkit.study import Study
from trialkit.study.units import to_display, unit_label

CELL: Final = 0.74  # inches high
HEAD: Final = 0.66
SIDE: Final = 0.62


def plot_map(
    study: Study, plots: pd.DataFrame, values: pd.DataFrame, measure: str | None = None
) -> Picture:
    """Draw the plots where they lie, shaded by ``measure``.

    ``plots`` has plot, block, treatment, row, column and lost; ``values`` the PLOT_VALUES columns.
    Without ``measure`` it is the first primary one that has values.
    """
    measure = measure or _first_with_values(study, values)
    field = _field(study, plots, values, measure)
    unit = unit_label(study.measure(measure).quantity, study.units)
    rows, columns = int(field["y"].max()) + 1, int(field["x"].max()) + 1
    shades = _Shades(field["value"])
    with theme.drawing(8) as figure:
        width = theme.WIDTH - SIDE - 0.08
        short = _short_labels(study, width / columns - 0.08)
        key = _key(study, short)
        text = wrap(key, theme.WIDTH - 0.2, theme.SMALL) if key else ""
        foot = 0.1 + 0.19 * (text.count("\n") + 1 if text else 0)
        figure.set_size_inches(theme.WIDTH, HEAD + CELL * rows + foot)
        panel = placed(figure, (SIDE, HEAD), (width, CELL * rows), (0, columns), (rows, 0))
        for record in rows_of(field):
            _cell(panel, record, short[record.treatment], shades)
        _borders(panel, field)
        _block_names(panel, field)
        theme.heading(figure, 0.06, f"{study.measure(measure).name}, {unit}")
        _shade_key(figure, shades)
        if text:
            theme.heading(figure, HEAD + CELL * rows + 0.07, text, fontsize=theme.SMALL,
                          fontweight="normal")  # fmt: skip
        shown = field[["plot", "block", "treatment", "x", "y", "value", "lost", "left_out"]]
        return theme.finish(
            figure, _finding(study, field, measure, unit), _caption(study, measure, unit), shown
        )


def _first_with_values(study: Study, values: pd.DataFrame) -> str:
    known = set(values.dropna(subset="value")["measure"])
    ordered = sorted(study.measures, key=lambda measure: not measure.primary)
    return next((measure.id for measure in ordered if measure.id in known), ordered[0].id)


@cache
def _blues() -> Colormap:
    return sns.light_palette("#0a4a80", as_cmap=True)


class _Shades:
    """Light to dark blue over the values found; one value alone is of middle shade."""

    def __init__(self, values: pd.Series) -> None:
        known = values.dropna()
        self.low = float(known.min()) if len(known) else 0.0
        self.high = float(known.max()) if len(known) else 0.0
        self._norm = Normalize(self.low, self.high)
        self._map = _blues()

    def __call__(self, value: float) -> str:
        share = 0.5 if self.high <= self.low else float(self._norm(value))
        return str(to_hex(self._map(0.04 + 0.96 * share)))


def _field(study: Study, plots: pd.DataFrame, values: pd.DataFrame, measure: str) -> pd.DataFrame:
    own = values[values["measure"] == measure].set_index("plot")
    quantity = study.measure(measure).quantity
    read = to_display(own["value"].astype(float), quantity, study.units)
    field = plots.assign(
        value=plots["plot"].map(read),
        left_out=plots["plot"].map(own["left_out"]).fillna(""),
        lost=plots["lost"].fillna("").astype(str),
    )
    field.loc[field["lost"] != "", "value"] = np.nan
    return _placed(field).reset_index(drop=True)


def _placed(field: pd.DataFrame) -> pd.DataFrame:
    """Give every plot its cell; without rows and columns each block is a row of plots."""
    if {"row", "column"} <= set(field) and field[["row", "column"]].notna().all(axis=None):
        return field.assign(
            x=field["column"].rank(method="dense").astype(int) - 1,
            y=field["row"].rank(method="dense").astype(int) - 1,
        )
    return field.assign(
        x=field.groupby("block").cumcount(), y=pd.factorize(field["block"], sort=True)[0]
    )


def _short_labels(study: Study, room: float) -> dict[str, str]:
    """Treatment labels on at most two lines; letters for all where one does not fit."""
    size = theme.SMALLEST
    found = {t: wrap(study.treatment(t).label, room, size) for t in study.treatment_ids}
    fits = all(text.count("\n") < 2 and text_width(text, size) <= room for text in found.values())
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    return found if fits else dict(zip(study.treatment_ids, letters, strict=False))


def _key(study: Study, short: dict[str, str]) -> str:
    coded = [
        f"{code}{labels.SPACE}{study.treatment(t).label.replace(' ', labels.SPACE)}"
        for t, code in short.items()
        if len(code) == 1
    ]
    return ", ".join(coded)


def _cell(panel: Panel, record: Any, short: str, shades: _Shades) -> None:
    known = not np.isnan(record.value)
    fill = shades(record.value) if known else "#ffffff"
    across, down = (record.x, record.x + 1), (record.y, record.y + 1)
    panel.block(across, down, facecolor=fill, edgecolor="#8a8a8a", linewidth=0.8)
    if record.lost:
        panel.line(across, down, color=theme.RULE, lw=1)
        panel.line(across, down[::-1], color=theme.RULE, lw=1)
    ink = theme.text_on(fill)
    said = labels.number(record.value) if known else "lost" if record.lost else "no value"
    lines = short.split("\n")
    stack = [(str(record.plot), "normal"), *((line, "bold") for line in lines), (said, "normal")]
    for place, (text, weight) in enumerate(stack):
        height = record.y + 0.5 + (place - (len(stack) - 1) / 2) * 0.235
        box = {"facecolor": fill, "edgecolor": "none", "pad": 0.8} if record.lost else None
        panel.words(text, record.x + 0.5, height, ha="center", va="center", color=ink,
                    weight=weight, fontsize=theme.SMALLEST, bbox=box)  # fmt: skip


def _borders(panel: Panel, field: pd.DataFrame) -> None:
    """Thick lines where neighbouring plots belong to different blocks or to none."""
    block_at = {(r.x, r.y): r.block for r in rows_of(field)}
    lines = []
    for (x, y), block in block_at.items():
        for beside, line in (
            ((x - 1, y), ((x, y), (x, y + 1))),
            ((x + 1, y), ((x + 1, y), (x + 1, y + 1))),
            ((x, y - 1), ((x, y), (x + 1, y))),
            ((x, y + 1), ((x, y + 1), (x + 1, y + 1))),
        ):
            if block_at.get(beside) != block:
                lines.append(line)
    ends = np.array(lines, float)
    panel.segments(ends[..., 0], ends[..., 1], clip=False, colors=theme.INK, linewidths=2.4,
                   capstyle="projecting")  # fmt: skip


def _block_names(panel: Panel, field: pd.DataFrame) -> None:
    """Name blocks at the left where they are rows of the field, else above their first plot."""
    for block, own in field.groupby("block", sort=False):
        middle = own["y"].mean() + 0.5
        alone = set(field.loc[field["y"].isin(own["y"]), "block"]) == {block}
        if alone:
            panel.beside(f"Block\n{block}", 0, middle, (-7, 0), ha="right", va="center",
                         fontsize=theme.SMALL)  # fmt: skip


def _shade_key(figure: Figure, shades: _Shades) -> None:
    if shades.high <= shades.low:
        return
    low, high = labels.number(shades.low), labels.number(shades.high)
    edge = SIDE + text_width(low, theme.SMALL) + 0.08
    middle = 0.46
    theme.heading(figure, middle, low, SIDE, va="center", fontsize=theme.SMALL, fontweight="normal")
    panel = placed(figure, (edge, middle - 0.07), (1.4, 0.14), (0, 10), (0, 1))
    for place, value in enumerate(np.linspace(shades.low, shades.high, 10)):
        panel.block((place, place + 1), panel.y, color=shades(value), lw=0)
    theme.heading(figure, middle, high, edge + 1.48, va="center", fontsize=theme.SMALL,
                  fontweight="normal")  # fmt: skip


def _finding(study: Study, field: pd.DataFrame, measure: str, unit: str) -> str:
    name = study.measure(measure).name
    known = field.dropna(subset="value")
    lost = field[field["lost"] != ""]
    gone = [f"plot {r.plot} ({labels.words(r.lost)})" for r in rows_of(lost)]
    tail = f" Lost: {labels.listed(gone)}." if gone else ""
    if known.empty:
        return f"{name}: no plot has a value.{tail}"
    looks = theme.styles(study)
    ordered = rows_of(known.sort_values("value", kind="stable"))
    low, high = ordered[0], ordered[-1]
    return (
        f"{name} ran from {labels.number(low.value)} in plot {low.plot}"
        f" ({looks[low.treatment].label}, block {low.block}) to"
        f" {labels.amount(high.value, unit)} in plot {high.plot}"
        f" ({looks[high.treatment].label}, block {high.block}).{tail}"
    )


def _caption(study: Study, measure: str, unit: str) -> str:
    return (
        f"Plots as they lie in the field, row 1 at the top, shaded by"
        f" {study.measure(measure).name.lower()} in {unit}. Thick lines border the blocks;"
        f" lost plots are crossed out."
    )
