"""Temperature and rain through the season, with bloom marked and rain against the normal."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.dates import date2num
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from trialkit.figures import labels, theme
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
from trialkit.figures.picture import Picture
from trialkit.figures.rows import rows_of
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


def weather_strip(study: Study, site: str, weather: pd.DataFrame, bloom: pd.DataFrame) -> Picture:
    """Draw daily temperatures and rain with the bloom of each treatment.

    ``weather`` has date, tmin, tmax (°C) and rain (mm); a day without record has no row or no
    value. ``bloom`` has treatment (empty for all plots), start and end (missing: still in bloom).
    """
    seen = _weather(study, site, weather, bloom)
    days, looks = seen.days, theme.styles(study)
    with theme.drawing(8) as figure:
        right = 0.2 + name_width(figure, looks)
        axis = TimeAxis(days.index[0], days.index[-1], theme.WIDTH - LEFT - right)
        packed = pack(figure, _lanes(bloom, days.index[-1]), looks, axis)
        strip = height_of_lanes(packed)
        below = HEAD + HEAT + strip + 0.1
        figure.set_size_inches(theme.WIDTH, below + HEAD + MONTHLY + RAIN + AXIS)
        _draw_heat(figure, seen, axis)
        if packed:
            lanes = theme.panel(figure, LEFT, HEAD + HEAT, axis.width, strip)
            axis.apply(lanes, labelled=False)
            draw_lanes(figure, lanes, packed, axis)
            lanes.spines["bottom"].set_visible(False)
        _draw_rain(figure, seen, axis, below)
        shown = days.rename_axis("date").reset_index()
        return theme.finish(figure, _finding(study, site, seen), _caption(seen), shown)


def _weather(study: Study, site: str, weather: pd.DataFrame, bloom: pd.DataFrame) -> _Weather:
    days = _days(study, weather)
    heat, rain = (unit_label(q, study.units) for q in ("temperature", "rain"))
    span = _in_bloom(days, bloom) if len(bloom) else None
    return _Weather(days, _months(study, site, days), span, heat, rain)


def _days(study: Study, weather: pd.DataFrame) -> pd.DataFrame:
    """One row a day in display units; days without a record are kept, empty."""
    dated = weather.assign(date=pd.to_datetime(weather["date"])).set_index("date").sort_index()
    every = dated.reindex(pd.date_range(dated.index[0], dated.index[-1]))
    shown = {
        column: to_display(every[column].astype(float), quantity, study.units)
        for column, quantity in (("tmin", "temperature"), ("tmax", "temperature"), ("rain", "rain"))
    }
    return pd.DataFrame(shown)


def _months(study: Study, site: str, days: pd.DataFrame) -> pd.DataFrame:
    """Rain of each month over the days recorded, and the same share of its normal."""
    rain = days["rain"]
    dates = pd.DatetimeIndex(days.index)
    grouped = rain.groupby(dates.to_period("M"))
    table = pd.DataFrame({"rain": grouped.sum(min_count=1), "recorded": grouped.count()})
    usual = study.site(site).normal_rain
    share = table["recorded"] / pd.PeriodIndex(table.index).days_in_month
    normal = [usual.get(month.month, np.nan) for month in table.index]
    return table.assign(month=table.index, normal=np.array(normal) * share)


def _lanes(bloom: pd.DataFrame, last: pd.Timestamp) -> list[Lane]:
    lanes = []
    for record in rows_of(bloom):
        start = pd.Timestamp(record.start)
        running = pd.isna(record.end)
        stop = last if running else pd.Timestamp(record.end)
        treatment = "" if pd.isna(record.treatment) else str(record.treatment)
        text = f"in bloom {_dates(start, None if running else stop)}"
        lanes.append(Lane(treatment, (Item((start, stop), text, True, running),)))
    return lanes


def _dates(start: pd.Timestamp, end: pd.Timestamp | None) -> str:
    return f"from {labels.day(start)} on" if end is None else (
        f"{labels.day(start)} to {labels.day(end)}")  # fmt: skip


def _draw_heat(figure: Figure, seen: _Weather, axis: TimeAxis) -> None:
    theme.heading(figure, 0.06, f"Daily low to high temperature, {seen.heat_unit}")
    axes = theme.panel(figure, LEFT, HEAD, axis.width, HEAT)
    axis.apply(axes, labelled=False)
    days = seen.days
    axes.fill_between(days.index, days["tmin"], days["tmax"], color="#d9a36a", ec="#8a4b12", lw=0.9)
    _quiet(axes, seen)


def _draw_rain(figure: Figure, seen: _Weather, axis: TimeAxis, top: float) -> None:
    theme.heading(figure, top + 0.06, f"Daily rain, and total of the month, {seen.rain_unit}")
    axes = theme.panel(figure, LEFT, top + HEAD + MONTHLY, axis.width, RAIN)
    axis.apply(axes)
    days = seen.days
    axes.vlines(days.index, 0, days["rain"], color=theme.WATER, lw=1.6)
    highest = float(np.nanmax([*days["rain"], 0.1]))
    axes.set_ylim(0, 1.05 * highest)
    missing = days.index[days["rain"].isna()]
    axes.plot(missing, [0.04 * highest] * len(missing), ls="", marker="x", ms=4, color=theme.SOFT)
    _quiet(axes, seen)
    _month_texts(figure, axes, seen, axis)


def _quiet(axes: Axes, seen: _Weather) -> None:
    """A light grid, few ticks, and the time in bloom as a grey band behind all."""
    axes.grid(axis="y", color=theme.BAND, lw=0.8)
    axes.set_axisbelow(True)
    axes.yaxis.set_major_locator(MaxNLocator(4))
    if seen.bloom:
        start, end = (float(date2num(day)) for day in seen.bloom)
        axes.axvspan(start, end, color=theme.BAND, lw=0, zorder=0)


def _month_texts(figure: Figure, axes: Axes, seen: _Weather, axis: TimeAxis) -> None:
    """Rain of the month in bold, the normal below it, where the month is wide enough."""
    left, right = axis.limits
    for record in rows_of(seen.months):
        first = max(float(date2num(record.month.start_time)), left)
        last = min(float(date2num(record.month.end_time)), right)
        said = labels.amount(record.rain, seen.rain_unit, 2)
        usual = np.isnan(record.normal)
        normal = "" if usual else f"normal {labels.number(record.normal, 2)}"
        if last - first < axis.days(text_width(figure, normal or said, theme.SMALL) + 0.04):
            continue
        options: Any = {"xycoords": axes.get_xaxis_transform(), "textcoords": "offset points",
                        "ha": "center", "va": "bottom", "fontsize": theme.SMALL}  # fmt: skip
        axes.annotate(said, ((first + last) / 2, 1), (0, 20), weight="bold", **options)
        axes.annotate(normal, ((first + last) / 2, 1), (0, 6), color=theme.SOFT, **options)


def _finding(study: Study, site: str, seen: _Weather) -> str:
    days, unit = seen.days, seen.rain_unit
    known = seen.months.dropna(subset=["normal", "rain"])
    usual = f" (normal {labels.amount(known['normal'].sum(), unit, 2)})" if len(known) else ""
    parts = [
        f"{labels.amount(days['rain'].sum(), unit, 2)} of rain{usual}"
        f" from {labels.day(days.index[0])} to {labels.day(days.index[-1])}"
        f" at {study.site(site).name}."
    ]
    if seen.bloom:
        start, end = seen.bloom
        rain = days.loc[start:end, "rain"]
        wet = labels.plural(int((rain > 0).sum()), "day")
        parts.append(
            f"In bloom, {labels.day(start)} to {labels.day(end)}: rain on {wet},"
            f" {labels.amount(rain.sum(), unit, 2)}."
        )
    missing = int(days["rain"].isna().sum())
    if missing:
        parts.append(f"No rain record on {labels.plural(missing, 'day')}.")
    return " ".join(parts)


def _in_bloom(days: pd.DataFrame, bloom: pd.DataFrame) -> tuple[pd.Timestamp, pd.Timestamp]:
    """First and last day on which any treatment was in bloom."""
    ends = pd.to_datetime(bloom["end"]).fillna(days.index[-1])
    return pd.to_datetime(bloom["start"]).min(), ends.max()


def _caption(seen: _Weather) -> str:
    return (
        f"Daily lowest to highest temperature ({seen.heat_unit}), time in bloom (grey), and daily"
        f" rain ({seen.rain_unit}) with the rain of each month against its normal; a part month is"
        f" held against the same share of its normal. A cross marks a day without a record."
    )
