"""Temperature and rain through the season, with bloom marked and rain against the normal."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.collections import FillBetweenPolyCollection
from matplotlib.dates import date2num
from matplotlib.figure import Figure

from trialkit.figures import labels, theme
from trialkit.figures.blank import blank
from trialkit.figures.fit import text_width
from trialkit.figures.lanes import (
    Item,
    Lane,
    TimeAxis,
    draw_lanes,
    height_of_lanes,
    name_width,
    pack,
)
from trialkit.figures.panel import Panel, placed
from trialkit.figures.picture import Picture
from trialkit.figures.rows import rows_of
from trialkit.figures.ticks import MANY_STEPS, round_ticks
from trialkit.study import Study
from trialkit.study.units import to_display, unit_label

LEFT: Final = 0.48
HEAD: Final = 0.34
HEAT: Final = 1.5
RAIN: Final = 1.15
MONTHLY: Final = 0.56
AXIS: Final = 0.34


@dataclass(frozen=True)
class _Weather:
    """All that is drawn, computed before the first line is."""

    days: pd.DataFrame
    months: pd.DataFrame
    bloom: tuple[pd.Timestamp, pd.Timestamp] | None
    heat_unit: str
    rain_unit: str


def weather_strip(study: Study, daily: pd.DataFrame, bloom: pd.DataFrame | None = None) -> Picture:
    """Draw daily temperatures and rain, rain against the normal, and when the crop bloomed.

    ``daily`` has date, tmin, tmax (°C), rain (mm) and, where known, rain_normal (mm), in_bloom and
    wet and counted (in the sums); a day without record has no row or no value. ``bloom`` has
    treatment, first_bloom and half_bloom, one row per plot.
    """
    recorded = daily.dropna(subset=["tmin", "tmax", "rain"], how="all")
    if recorded.empty:
        return blank("Weather", "No weather is on record.")
    seen = _weather(study, daily[daily["date"].between(*_ends(recorded, daily))])
    days, looks = seen.days, theme.styles(study)
    with theme.drawing(8) as figure:
        axis = TimeAxis(days.index[0], days.index[-1], theme.WIDTH - LEFT - 0.2 -
                        name_width(looks))  # fmt: skip
        packed = pack(_lanes(bloom, study.treatment_ids), looks, axis)
        strip = height_of_lanes(packed)
        below = HEAD + HEAT + strip + 0.1
        figure.set_size_inches(theme.WIDTH, below + HEAD + MONTHLY + RAIN + AXIS)
        _draw_heat(figure, seen, axis)
        if packed:
            draw_lanes(figure, HEAD + HEAT, LEFT, packed, axis)
        _draw_rain(figure, seen, axis, below)
        shown = days.rename_axis("date").reset_index()
        return theme.finish(figure, _finding(seen), _caption(seen, bool(packed)), shown)


def _ends(recorded: pd.DataFrame, daily: pd.DataFrame) -> tuple[pd.Timestamp, pd.Timestamp]:
    """First and last day on record, or that the sums count; so no gap at an end stays unseen."""
    counted = daily.loc[daily["counted"], "date"] if "counted" in daily else daily["date"].iloc[:0]
    days = pd.concat([recorded["date"], counted])
    return days.min(), days.max()


def _weather(study: Study, daily: pd.DataFrame) -> _Weather:
    days = _days(study, daily)
    heat, rain = (unit_label(q, study.units) for q in ("temperature", "rain"))
    blooming = days.index[days["in_bloom"]]
    span = (blooming[0], blooming[-1]) if len(blooming) else None
    return _Weather(days, _months(days), span, heat, rain)


def _days(study: Study, daily: pd.DataFrame) -> pd.DataFrame:
    """One row a day in display units; days without a record are kept, empty."""
    dated = daily.assign(date=pd.to_datetime(daily["date"])).set_index("date").sort_index()
    columns = {"tmin": "temperature", "tmax": "temperature", "rain": "rain", "rain_normal": "rain"}
    every = dated.reindex(
        pd.date_range(dated.index[0], dated.index[-1]), columns=[*columns, "in_bloom", "wet"]
    )
    shown = {
        column: to_display(every[column].astype(float), quantity, study.units)
        for column, quantity in columns.items()
    }
    wet = every["wet"].eq(True) if every["wet"].notna().any() else every["rain"] > 0
    return pd.DataFrame(shown).assign(in_bloom=every["in_bloom"].eq(True), wet=wet)


def _months(days: pd.DataFrame) -> pd.DataFrame:
    """Rain of each month over the days recorded, and the normal of the same days."""
    month = pd.DatetimeIndex(days.index).to_period("M")
    recorded = days["rain"].notna()
    grouped = days[["rain", "rain_normal"]].where(recorded, axis=0).groupby(month)
    sums = grouped.sum(min_count=1)
    return sums.assign(month=sums.index)


def _lanes(bloom: pd.DataFrame | None, order: tuple[str, ...]) -> list[Lane]:
    """First to half bloom of each treatment, each on the middle one of its plots' dates."""
    if bloom is None or bloom.empty:
        return []
    middle = bloom.groupby("treatment")[["first_bloom", "half_bloom"]].median()
    lanes = []
    for record in rows_of(middle.reindex(order).dropna(subset=["first_bloom"]).reset_index()):
        first = pd.Timestamp(record.first_bloom).floor("D")
        reached = not pd.isna(record.half_bloom)
        half = pd.Timestamp(record.half_bloom).floor("D") if reached else first
        text = f"first {labels.day(first)}" + (f", half {labels.day(half)}" if reached else "")
        lanes.append(Lane(record.treatment, (Item((first, half), text, span=reached),)))
    return lanes


def _draw_heat(figure: Figure, seen: _Weather, axis: TimeAxis) -> None:
    theme.heading(figure, 0.06, f"Daily low to high temperature, {seen.heat_unit}")
    days = seen.days
    known = days[["tmin", "tmax"]].to_numpy(float)
    known = known[np.isfinite(known)]
    low, high = (known.min(), known.max()) if len(known) else (0.0, 1.0)
    pad = 0.05 * (high - low) or 1.0
    size = axis.width, HEAT
    panel = placed(figure, (LEFT, HEAD), size, axis.limits, (low - pad, high + pad))
    dates = np.asarray(date2num(days.index))
    cold, warm = (np.ma.masked_invalid(days[name].to_numpy(float)) for name in ("tmin", "tmax"))
    panel.add(FillBetweenPolyCollection("x", dates, cold, warm,
                                        facecolor="#d9a36a", edgecolor="#8a4b12",
                                        lw=0.9))  # fmt: skip
    panel.lower_edge()
    _mark_missing(panel, days[["tmin", "tmax"]].isna().any(axis=1))
    _quiet(panel, seen)


def _draw_rain(figure: Figure, seen: _Weather, axis: TimeAxis, top: float) -> None:
    theme.heading(figure, top + 0.06, f"Daily rain, and total of the month, {seen.rain_unit}")
    days = seen.days
    highest = float(np.nanmax([*days["rain"], 0.1]))
    corner, size = (LEFT, top + HEAD + MONTHLY), (axis.width, RAIN)
    panel = placed(figure, corner, size, axis.limits, (0, 1.05 * highest))
    rain = days["rain"].dropna()
    dates = np.asarray(date2num(rain.index))
    panel.segments(np.column_stack([dates, dates]), np.column_stack([0 * rain, rain]),
                   color=theme.WATER, lw=1.6)  # fmt: skip
    panel.axis_below(axis.ticks)
    _mark_missing(panel, days["rain"].isna())
    _quiet(panel, seen)
    _month_texts(panel, seen, axis)


def _mark_missing(panel: Panel, missing: "pd.Series[bool]") -> None:
    """A dark bar on the axis under every day without a record."""
    days = np.asarray(date2num(missing.index[missing]))
    height = panel.y[0] + 0.03 * (panel.y[1] - panel.y[0])
    panel.segments(np.column_stack([days - 0.5, days + 0.5]), height, color=theme.SOFT, lw=4)


def _quiet(panel: Panel, seen: _Weather) -> None:
    """A light grid, few ticks, and the time in bloom as a grey band behind all."""
    ticks = round_ticks(*panel.y, 4, steps=MANY_STEPS)
    panel.axis_left(ticks)
    panel.grid(y=ticks)
    if seen.bloom:
        start, end = (float(date2num(day)) for day in seen.bloom)
        panel.block((start, end), panel.y, color=theme.BAND, lw=0, zorder=0)


def _month_texts(panel: Panel, seen: _Weather, axis: TimeAxis) -> None:
    """Rain of the month in bold, the normal below it, where the month is wide enough."""
    left, right = axis.limits
    roomy = axis.days(text_width("normal 0.00", theme.SMALL) + 0.1) <= 28
    for record in rows_of(seen.months):
        first = max(float(date2num(record.month.start_time)), left)
        last = min(float(date2num(record.month.end_time)), right)
        said = labels.amount(record.rain, seen.rain_unit, 2)
        normal = _normal(record.rain_normal, roomy)
        if last - first < axis.days(text_width(max(said, normal, key=len), theme.SMALL) + 0.08):
            continue
        look: Any = {"ha": "center", "va": "bottom", "fontsize": theme.SMALL}
        middle, top = (first + last) / 2, panel.y[1]
        panel.words(said, middle, top, (0, 20), weight="bold", **look)
        panel.words(normal, middle, top, (0, 6), color=theme.SOFT, **look)


def _normal(rain: float, roomy: bool) -> str:
    if np.isnan(rain):
        return ""
    return f"normal {labels.number(rain, 2)}" if roomy else f"({labels.number(rain, 2)})"


def _finding(seen: _Weather) -> str:
    days, unit = seen.days, seen.rain_unit
    known = seen.months.dropna(subset=["rain", "rain_normal"])
    usual = labels.amount(known["rain_normal"].sum(), unit, 2)
    parts = [
        f"{labels.amount(days['rain'].sum(), unit, 2)} of rain from {labels.day(days.index[0])} to"
        f" {labels.day(days.index[-1])}{f' (normal {usual})' if len(known) else ''}."
    ]
    if seen.bloom:
        start, end = (labels.day(day) for day in seen.bloom)
        rain = days.loc[days["in_bloom"], "rain"]
        wet = labels.plural(int(days.loc[days["in_bloom"], "wet"].sum()), "wet day")
        parts.append(
            f"In bloom, {start} to {end}: {wet}, {labels.amount(rain.sum(), unit, 2)} of rain."
        )
    cold = days[["tmin", "tmax"]].isna().any(axis=1)
    for what, number in (("rain", days["rain"].isna().sum()), ("temperature", cold.sum())):
        if number:
            parts.append(f"No {what} record on {labels.plural(int(number), 'day')}.")
    return " ".join(parts)


def _caption(seen: _Weather, lanes: bool) -> str:
    parts = [
        f"Daily lowest to highest temperature ({seen.heat_unit}) and daily rain"
        f" ({seen.rain_unit}), with the rain of each month and, below it, the"
        " normal of the same days."
    ]
    if seen.bloom:
        parts.append("Grey: the crop in bloom.")
    if lanes:
        parts.append("Bars: first to half bloom of each treatment.")
    if seen.days[["tmin", "tmax", "rain"]].isna().any(axis=None):
        parts.append("A dark bar on an axis: days without a record.")
    return " ".join(parts)
