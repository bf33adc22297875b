"""Marketable yield with intervals, and what was culled and why, treatment by treatment."""

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from trialkit.figures import labels, theme
from trialkit.figures.blank import blank
from trialkit.figures.fit import text_width, wrap
from trialkit.figures.panel import Panel, placed
from trialkit.figures.picture import Picture
from trialkit.figures.rows import rows_of
from trialkit.figures.ticks import round_ticks
from trialkit.study import Study
from trialkit.study.units import to_display, unit_label

ROW: Final = 0.36
HEAD: Final = 0.34
AXIS: Final = 0.36
KEY: Final = 0.26


def yield_and_culls(
    study: Study,
    means: pd.DataFrame,
    grades: pd.DataFrame,
    measure: str | None = None,
    plot_values: pd.DataFrame | None = None,
) -> Picture:
    """Draw the yield's means with intervals above the share of fruit culled by cause.

    ``means`` has the MEANS columns, ``grades`` the GRADES columns; ``plot_values`` adds the plots.
    Without ``measure`` it is the study's first one of marketable yield.
    """
    measure = measure or _first_yield(study)
    yields = _yields(study, means, measure)
    culls = _culls(study, grades)
    present = {*yields["treatment"], *culls["treatment"]}
    rows = [treatment for treatment in study.treatment_ids if treatment in present]
    if not rows:
        return blank("Yield and culls", "No fruit has been picked yet.")
    dots = _plots(study, plot_values, measure)
    with theme.drawing(8) as figure:
        _draw(study, figure, rows, (yields, dots, culls), measure)
        data = pd.concat([yields.assign(kind="yield"), culls.assign(kind="cull")])
        alt, caption = _finding(study, yields, culls, measure), _caption(study, yields, measure)
        shown = data[["kind", "treatment", "cull_cause", "value", "low", "high"]]
        return theme.finish(figure, alt, caption, shown)


def _first_yield(study: Study) -> str | None:
    kinds = ("marketable_yield", "marketable_per_plant")
    return next((m.id for kind in kinds for m in study.measures if m.kind == kind), None)


def _draw(
    study: Study,
    figure: Figure,
    rows: list[str],
    frames: tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame],
    measure: str | None,
) -> None:
    """Size the picture to its parts, then draw the yields (where there are any) and the culls."""
    yields, dots, culls = frames
    causes = list(dict.fromkeys(culls["cull_cause"]))
    key = _key_lines([_cause(study, cause) for cause in causes])
    lines = 1 + max(_short(study, treatment).count("\n") for treatment in rows)
    block = max(ROW, theme.LINE * lines + 0.06) * len(rows)
    panel = HEAD + block + AXIS
    above = 0.0 if yields.empty else panel + 0.08
    figure.set_size_inches(theme.WIDTH, above + panel + KEY * len(key))
    left, right = _margins(study, rows, yields)
    width = theme.WIDTH - left - right
    if len(yields) and measure:
        described = study.measure(measure)
        unit = unit_label(described.quantity, study.units)
        theme.heading(figure, 0.06, f"{described.name}, {unit}")
        ends = [*dots["value"], *yields[["value", "low", "high"]].to_numpy(float).ravel()]
        limits = (0.0, _right(ends)), (len(rows) - 0.5, -0.5)
        upper = placed(figure, (left, HEAD), (width, block), *limits)
        _framed(upper, study, rows, lambda value: f"{value:,.10g}")
        _draw_yields(study, upper, rows, yields, dots)
    theme.heading(figure, above + 0.06, "Fruit culled, % of all fruit picked")
    _draw_key(figure, key, above + HEAD)
    shares = culls.pivot(index="treatment", columns="cull_cause", values="value")
    shares = shares.reindex(index=rows, columns=causes).fillna(0.0)
    limits = (0.0, _right([0.0, *shares.sum(axis=1)])), (len(rows) - 0.5, -0.5)
    lower = placed(figure, (left, above + HEAD + KEY * len(key)), (width, block), *limits)
    _framed(lower, study, rows, lambda value: f"{value:g}{labels.SPACE}%")
    _draw_culls(lower, shares.to_numpy(float))


def _yields(study: Study, means: pd.DataFrame, measure: str | None) -> pd.DataFrame:
    if measure is None:
        return pd.DataFrame(columns=["treatment", "value", "low", "high", "cull_cause"])
    own = means[means["measure"] == measure]
    quantity = study.measure(measure).quantity
    converted = to_display(own[["mean", "low", "high"]].astype(float), quantity, study.units)
    shown = converted.rename(columns={"mean": "value"}).assign(treatment=own["treatment"])
    return shown.assign(cull_cause="").reset_index(drop=True)


def _plots(study: Study, values: pd.DataFrame | None, measure: str | None) -> pd.DataFrame:
    if values is None or measure is None:
        return pd.DataFrame({"treatment": [], "value": []})
    own = values[(values["measure"] == measure) & (values["left_out"] == "")]
    quantity = study.measure(measure).quantity
    return own.assign(value=to_display(own["value"].astype(float), quantity, study.units))


def _culls(study: Study, grades: pd.DataFrame) -> pd.DataFrame:
    """Share of all fruit of a treatment that was culled, by cause, in percent."""
    picked = grades.groupby("treatment")["fruit"].sum()
    culled = grades[grades["grade"] == "cull"]
    counted = culled.groupby(["treatment", "cull_cause"], as_index=False)["fruit"].sum()
    share = 100 * counted["fruit"] / counted["treatment"].map(picked)
    shown = counted.assign(value=share, low=float("nan"), high=float("nan"))
    order = {cause.id: place for place, cause in enumerate(study.cull_causes)}
    return shown.sort_values("cull_cause", key=lambda c: c.map(order), kind="stable")


def _cause(study: Study, cause: str) -> str:
    named = {item.id: item.name for item in study.cull_causes} | {"": "no cause given"}
    return named.get(cause, labels.words(cause))


def _margins(study: Study, rows: list[str], yields: pd.DataFrame) -> tuple[float, float]:
    names = [_short(study, treatment) for treatment in rows]
    left = 0.2 + max(text_width(name, theme.SMALL) for name in names)
    numbers = [labels.number(value) for value in yields["value"]] + ["12.3 %"]
    return left, 0.2 + max(text_width(text, theme.SMALL, "bold") for text in numbers)


def _short(study: Study, treatment: str) -> str:
    return wrap(study.treatment(treatment).label, 1.5, theme.SMALL)


def _right(ends: Sequence[float]) -> float:
    """Limit of an axis from zero that leaves a little room beyond the largest value."""
    known = [end for end in ends if math.isfinite(end)]
    low, high = min(known, default=0.0), max(known, default=0.0)
    return high + 0.05 * (high - low or high) or 1.0


def _framed(panel: Panel, study: Study, rows: list[str], said: Callable[[float], str]) -> None:
    """Names of the treatments at the left, few ticks below, and a quiet grid."""
    names = {float(n): _short(study, treatment) for n, treatment in enumerate(rows)}
    panel.axis_left(names, edge=False, linespacing=1.0)
    ticks = round_ticks(*panel.x, 5, said)
    panel.axis_below(ticks)
    panel.grid(x=ticks)


def _draw_yields(
    study: Study, panel: Panel, rows: list[str], yields: pd.DataFrame, plots: pd.DataFrame
) -> None:
    looks = theme.styles(study)
    for place, treatment in enumerate(rows):
        look = looks[treatment]
        dots = plots.loc[plots["treatment"] == treatment, "value"]
        panel.line(dots, [place + 0.26] * len(dots), ls="", marker="o", ms=3.2, mfc="none",
                   mec=theme.SOFT, mew=0.7)  # fmt: skip
        for record in rows_of(yields[yields["treatment"] == treatment]):
            panel.line([record.low, record.high], [place, place], color=look.colour, lw=2)
            panel.line([record.value], [place], marker=look.marker, color=look.colour, ms=8,
                       mec="white", mew=0.8)  # fmt: skip
            _at_right(panel, place, labels.number(record.value))


def _draw_culls(panel: Panel, shares: NDArray[np.float64]) -> None:
    """Stack the shares (treatments × causes) of each treatment."""
    ends = np.cumsum(shares, axis=1)
    places = np.arange(len(shares))[:, None] + [-0.31, 0.31]
    for number, (end, width) in enumerate(zip(ends.T, shares.T, strict=True)):
        bars = np.column_stack([end - width, end])
        panel.blocks(bars, places, **theme.fill_of_cause(number))
    for place, total in enumerate(shares.sum(axis=1)):
        _at_right(panel, place, f"{total:.0f}{labels.SPACE}%")


def _at_right(panel: Panel, place: int, text: str) -> None:
    panel.beside(text, 1, place, (8, 0), va="center_baseline", fontsize=theme.SMALL,
                 weight="bold")  # fmt: skip


def _key_lines(names: list[str]) -> list[list[tuple[float, str]]]:
    """Arrange the key's entries in lines that fit the width; each entry with its left edge."""
    lines: list[list[tuple[float, str]]] = [[]]
    edge = 0.08
    for name in names:
        room = 0.3 + text_width(name, theme.SMALL) + 0.22
        if lines[-1] and edge + room > theme.WIDTH:
            lines.append([])
            edge = 0.08
        lines[-1].append((edge, name))
        edge += room
    return lines


def _draw_key(figure: Figure, lines: list[Any], top: float) -> None:
    across, down = figure.get_size_inches()
    number = 0
    for row, line in enumerate(lines):
        middle = top + KEY * row + 0.1
        for edge, name in line:
            figure.add_artist(Rectangle((edge / across, 1 - (middle + 0.07) / down), 0.24 / across,
                                        0.14 / down, transform=figure.transFigure,
                                        **theme.fill_of_cause(number)))  # fmt: skip
            theme.heading(figure, middle, name, edge + 0.3, va="center", fontsize=theme.SMALL,
                          fontweight="normal")  # fmt: skip
            number += 1


def _finding(study: Study, yields: pd.DataFrame, culls: pd.DataFrame, measure: str | None) -> str:
    looks = theme.styles(study)
    totals = culls.groupby("treatment", sort=False)["value"].sum()
    lost = [
        f"{looks[t].label} {totals[t]:.0f}{labels.SPACE}%"
        for t in study.treatment_ids
        if t in totals
    ]
    culled = f"Culled: {labels.listed(lost) or 'nothing'}{_main_cause(study, culls)}."
    if measure is None or yields.empty:
        return culled
    unit = unit_label(study.measure(measure).quantity, study.units)
    said = [
        f"{looks[r.treatment].label} {labels.amount(r.value, unit)}"
        f" ({labels.number(r.low)} to {labels.number(r.high)})"
        for r in rows_of(yields)
    ]
    level = labels.percent_level(study.level)
    name = study.measure(measure).name
    return f"{name} ({level} in brackets): {labels.listed(said)}. {culled}"


def _main_cause(study: Study, culls: pd.DataFrame) -> str:
    if culls.empty:
        return ""
    fruit = culls.groupby("cull_cause")["fruit"].sum()
    return f" of the fruit, most of all for {_cause(study, str(fruit.idxmax()))}"


def _caption(study: Study, yields: pd.DataFrame, measure: str | None) -> str:
    below = "fruit culled, in percent of all fruit picked, by cause."
    if measure is None or yields.empty:
        return below.capitalize()
    described = study.measure(measure)
    unit = unit_label(described.quantity, study.units)
    return (
        f"Above: {described.name.lower()} in {unit}, means with"
        f" {labels.percent_level(study.level)}s. Below: {below}"
    )
