"""Pest counts through the season, with what was done to each treatment on the same time axis."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.dates import date2num

from trialkit.figures import labels, theme
from trialkit.figures.blank import blank
from trialkit.figures.fit import spread, text_width, wrap
from trialkit.figures.lanes import (
    NAME,
    Lane,
    TimeAxis,
    draw_lanes,
    height_of_lanes,
    lanes_of,
    name_width,
    pack,
)
from trialkit.figures.panel import Panel, placed
from trialkit.figures.picture import Picture
from trialkit.figures.rows import rows_of
from trialkit.figures.theme import Style
from trialkit.figures.ticks import round_ticks
from trialkit.study import Study

CURVES: Final = 2.9  # inches
LEFT: Final = 0.48
TOP: Final = 0.34
AXIS: Final = 0.34
COUNTS: Final = 9  # steps between ticks, at most
PAD: Final = 4  # days left free at both ends
SWATCH: Final = 0.3  # inches of line beside a name
FARTHEST: Final = 0.5  # inches that a name may stand from the end of its line


@dataclass(frozen=True)
class _Season:
    """All that is drawn, computed before the first line is."""

    means: pd.DataFrame
    lanes: list[Lane]
    looks: dict[str, Style]
    threshold: float | None
    first: pd.Timestamp
    last: pd.Timestamp


def season_curve(
    study: Study,
    curve: pd.DataFrame,
    events: pd.DataFrame,
    organism: str | None = None,
    stage: str | None = None,
) -> Picture:
    """Draw the mean count per plant of each treatment over the season.

    ``curve`` has the CURVE columns, ``events`` date, plot and event. A measure of the organism
    that declares an action threshold adds its line. Without ``organism`` it is the first one of the
    study that was counted.
    """
    found = set(curve["organism"])
    organism = organism or next((o.id for o in study.organisms if o.id in found), None)
    if organism not in found or organism is None:
        return blank("Counts through the season", "Nothing has been counted yet.")
    season = _season(study, curve, events, organism, stage)
    with theme.drawing(8) as figure:
        axis = _axis(season)
        packed = pack(season.lanes, season.looks, axis)
        strip = height_of_lanes(packed)
        ends = _ends(season)
        curves = max(CURVES, sum(end.height for end in ends))
        figure.set_size_inches(theme.WIDTH, TOP + curves + strip + AXIS)
        theme.heading(figure, 0.06, _title(study, organism, stage))
        highest = max(season.means["mean_count"].max(), season.threshold or 0, 1e-9)
        limits = -0.02 * highest, 1.06 * highest
        upper = placed(figure, (LEFT, TOP), (axis.width, curves), axis.limits, limits)
        _curves(upper, season, axis)
        _label_lines(upper, ends, axis, curves)
        if packed:
            draw_lanes(figure, TOP + curves, LEFT, packed, axis).axis_below(axis.ticks)
        alt, caption = _finding(study, season, organism), _caption(study, season, organism)
        return theme.finish(figure, alt, caption, _data(season))


def _season(
    study: Study, curve: pd.DataFrame, events: pd.DataFrame, organism: str, stage: str | None
) -> _Season:
    own = curve[curve["organism"] == organism]
    own = own if stage is None else own[own["stage"] == stage]
    means = _means(own, study.treatment_ids)
    last = means["date"].max()
    dates = pd.to_datetime(events["date"])
    plots = curve[["plot", "treatment"]].drop_duplicates()
    lanes = lanes_of(events[dates <= last], plots, study.treatment_ids, last)
    first = min([means["date"].min(), *dates])
    pad = pd.Timedelta(days=PAD)
    threshold = _threshold(study, organism, stage)
    return _Season(means, lanes, theme.styles(study), threshold, first - pad, last + pad)


def _means(own: pd.DataFrame, order: tuple[str, ...]) -> pd.DataFrame:
    """Mean of the plots of each treatment and visit; stages of one visit are added up first."""
    dated = own.assign(date=pd.to_datetime(own["date"]))
    per_plot = dated.groupby(["treatment", "date", "plot"], as_index=False)["mean_count"].sum()
    means = per_plot.groupby(["treatment", "date"], as_index=False).agg(
        mean_count=("mean_count", "mean"), plots=("plot", "nunique")
    )
    in_order = [means[means["treatment"] == treatment] for treatment in order]
    return pd.concat(in_order, ignore_index=True)


def _axis(season: _Season) -> TimeAxis:
    right = 0.22 + SWATCH + name_width(season.looks)
    return TimeAxis(season.first, season.last, theme.WIDTH - LEFT - right)


def _threshold(study: Study, organism: str, stage: str | None) -> float | None:
    fitting = [m for m in study.measures if m.organism == organism and m.stage in (None, stage)]
    return next((m.threshold for m in fitting if m.threshold is not None), None)


def _title(study: Study, organism: str, stage: str | None) -> str:
    name = _organism(study, organism)
    return f"{name[:1].upper()}{name[1:]} per plant" + (f" ({stage})" if stage else "")


def _organism(study: Study, organism: str) -> str:
    return next(item.name for item in study.organisms if item.id == organism)


def _curves(panel: Panel, season: _Season, axis: TimeAxis) -> None:
    for treatment, own in season.means.groupby("treatment", sort=False):
        look = season.looks[str(treatment)]
        days = np.asarray(date2num(own["date"]))
        panel.line(days, own["mean_count"], color=look.colour, marker=look.marker,
                   ls=_line(look), lw=1.8, ms=6.5, mec="white", mew=0.8)  # fmt: skip
    if season.lanes:
        panel.lower_edge()
    else:
        panel.axis_below(axis.ticks)
    ticks = round_ticks(*panel.y, COUNTS)
    panel.axis_left(ticks)
    panel.grid(y=ticks)
    _cover_changes(panel, season)
    if season.threshold is not None:
        panel.across(season.threshold, color=theme.SOFT, lw=1.1, ls=(0, (6, 3)))
        _name_threshold(panel, season, axis, season.threshold)


def _name_threshold(panel: Panel, season: _Season, axis: TimeAxis, threshold: float) -> None:
    """Write the threshold's name above its line, at the end where fewer curves pass."""
    text = f"action threshold {labels.number(threshold, 1)}"
    low, high = axis.limits
    room = axis.days(text_width(text, theme.SMALL) + 0.1)
    at_left = _clearance(season, threshold, low, low + room)
    at_right = _clearance(season, threshold, high - room, high)
    day, shift, side = (low, 4, "left") if at_left >= at_right else (high, -4, "right")
    panel.words(text, day, threshold, (shift, 3), ha=side, fontsize=theme.SMALL,
                color=theme.SOFT, zorder=1)  # fmt: skip


def _clearance(season: _Season, height: float, first: float, last: float) -> float:
    """Least distance of any curve from a height between two days."""
    days = np.linspace(first, last, 12)
    gaps = [np.inf]
    for _, own in season.means.groupby("treatment"):
        seen = np.asarray(date2num(own["date"]))
        there = days[(days >= seen[0]) & (days <= seen[-1])]
        gaps += list(np.abs(np.interp(there, seen, own["mean_count"]) - height))
    return float(min(gaps))


def _cover_changes(panel: Panel, season: _Season) -> None:
    """Carry the ends of every span, such as a cover's, up into the curves."""
    for lane in season.lanes:
        for item in lane.items:
            if item.span and lane.treatment:
                for day in item.days[: 1 if item.open_end else 2]:
                    colour = season.looks[lane.treatment].colour
                    panel.upright(float(date2num(day)), color=colour, lw=1, ls=(0, (1, 2)))


@dataclass(frozen=True)
class _End:
    """The label of a line: its text and look, where the line ends and how high it rose."""

    text: str
    look: Style
    day: float
    value: float
    peak: float

    @property
    def height(self) -> float:
        """Inches that the label takes."""
        return theme.LINE * (1 + self.text.count("\n")) + 0.03


def _ends(season: _Season) -> list[_End]:
    ends = []
    for treatment, own in season.means.groupby("treatment", sort=False):
        look, last = season.looks[str(treatment)], own.iloc[-1]
        text = wrap(look.label, NAME, theme.SMALL)
        day, peak = float(date2num(last["date"])), float(own["mean_count"].max())
        ends.append(_End(text, look, day, float(last["mean_count"]), peak))
    return ends


def _label_lines(panel: Panel, ends: list[_End], axis: TimeAxis, height: float) -> None:
    """Name every line at its end; where ends are too close for that, at the height of its peak."""
    low, high = panel.y
    per_inch = (high - low) / height
    sizes = [end.height * per_inch for end in ends]
    centres = spread([end.value for end in ends], sizes, low, high)
    moved = max(abs(c - end.value) for c, end in zip(centres, ends, strict=True)) / per_inch
    if moved > FARTHEST:
        centres = spread([end.peak for end in ends], sizes, low, high)
    right = axis.limits[1]
    for end, centre in zip(ends, centres, strict=True):
        if moved <= FARTHEST:
            panel.line([end.day + axis.days(0.07), right + axis.days(0.06)], [end.value, centre],
                       color=end.look.text, lw=0.7, clip=False)  # fmt: skip
        _label(panel, end, axis, centre)


def _label(panel: Panel, end: _End, axis: TimeAxis, centre: float) -> None:
    """A piece of the line with its mark, then the name."""
    right = axis.limits[1]
    piece = [right + axis.days(inches) for inches in (0.1, 0.1 + SWATCH / 2, 0.1 + SWATCH)]
    panel.line(piece, [centre] * 3, color=end.look.colour, ls=_line(end.look), lw=1.8,
               marker=end.look.marker, markevery=[1], ms=6, mec="white", mew=0.6,
               clip=False)  # fmt: skip
    panel.words(end.text, piece[-1], centre, (4, 0), va="center", fontsize=theme.SMALL,
                color=end.look.text, linespacing=1.0)  # fmt: skip


def _line(look: Style) -> Any:
    return (0, look.dashes) if look.dashes else "-"


def _data(season: _Season) -> pd.DataFrame:
    counts = season.means.assign(kind="count", until=season.means["date"], what="")
    rows = [
        {"kind": "event", "treatment": lane.treatment, "date": item.days[0],
         "until": item.days[-1], "what": item.text, "mean_count": np.nan, "plots": 0}
        for lane in season.lanes for item in lane.items
    ]  # fmt: skip
    columns = ["kind", "treatment", "date", "until", "what", "mean_count", "plots"]
    events = pd.DataFrame(rows, columns=columns)
    return pd.concat([counts[columns], events]) if rows else counts[columns]


def _finding(study: Study, season: _Season, organism: str) -> str:
    peaks = season.means.loc[season.means.groupby("treatment", sort=False)["mean_count"].idxmax()]
    said = [
        f"{season.looks[p.treatment].label} {labels.number(p.mean_count, 2)} per plant"
        + (f" on {labels.day(p.date)}" if p.mean_count else "")
        for p in rows_of(peaks)
    ]
    lost = [t for t in study.treatment_ids if t not in set(peaks["treatment"])]
    gone = f" No counts for {labels.listed([season.looks[t].label for t in lost])}." if lost else ""
    return f"Highest counts of {_organism(study, organism)}: {labels.listed(said)}.{gone}"


def _caption(study: Study, season: _Season, organism: str) -> str:
    last = season.means["date"].max()
    running = not study.season(last.year).finished
    parts = [
        f"Mean number of {_organism(study, organism)} per plant at each visit, by treatment,",
        f"{labels.day(season.means['date'].min())} to {labels.day(last)} {last.year}.",
    ]
    if season.threshold is not None:
        parts.append(f"Dashed: action threshold, {labels.number(season.threshold, 1)} per plant.")
    if season.lanes:
        parts.append("Below: what was done, and when.")
    if running:
        parts.append(f"The season is still running: counts up to {labels.day(last)}.")
    return " ".join(parts)
