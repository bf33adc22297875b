"""What was done and when, as lanes under a time axis: bars for spans, marks for single days."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import inf
from typing import Final

import numpy as np
import pandas as pd
from matplotlib.dates import date2num
from matplotlib.figure import Figure

from trialkit.figures import labels, theme
from trialkit.figures.fit import text_width, wrap
from trialkit.figures.panel import Panel, placed
from trialkit.figures.theme import Style

LANE: Final = 0.24  # inches a line of a lane
ALL: Final = ""
NAME: Final = 1.3  # inches before a name is wrapped
LONG: Final = 120  # days of a time axis on which months are abbreviated
SHORT: Final = 75  # days of a time axis that has mid-months labelled too
GAP: Final = 0.16  # inches around an item's text


@dataclass(frozen=True)
class Item:
    """Something on one day, on several days, or from the first to the last of its days."""

    days: tuple[pd.Timestamp, ...]
    text: str
    span: bool = False
    open_end: bool = False


@dataclass(frozen=True)
class TimeAxis:
    """A time axis of a known length in inches, shared by panels above one another."""

    first: pd.Timestamp
    last: pd.Timestamp
    width: float

    @property
    def limits(self) -> tuple[float, float]:
        """Limits as matplotlib's day numbers."""
        return float(date2num(self.first)), float(date2num(self.last))

    @property
    def _days_labelled(self) -> tuple[int, ...]:
        return (1, 15) if (self.last - self.first).days < SHORT else (1,)

    def days(self, inches: float) -> float:
        """Days that so many inches stand for."""
        low, high = self.limits
        return inches * (high - low) / self.width

    @property
    def ticks(self) -> dict[float, str]:
        """Days that are labelled, in English whatever the machine's language; else both ends."""
        brief = (self.last - self.first).days > LONG
        every = pd.date_range(self.first.ceil("D"), self.last)
        months = every[np.isin(every.day, self._days_labelled)]
        days = [*months] or [self.first, self.last]
        return {float(date2num(day)): labels.day(day, brief=brief) for day in days}


@dataclass(frozen=True)
class Lane:
    """What was done to one treatment, or to all plots (``treatment`` empty)."""

    treatment: str
    items: tuple[Item, ...]


@dataclass(frozen=True)
class PackedLane:
    """A lane with its name, its look, the line that each item stands on, and its lines in all."""

    name: str
    look: Style | None
    placed: tuple["Place", ...]
    lines: int


@dataclass(frozen=True)
class Place:
    """Where an item stands in its lane: its line, the days it takes, and where its text goes.

    ``side`` is "right" or "left" of the item, or "below" on a line more where neither has room.
    """

    item: Item
    side: str
    first: float
    last: float
    line: int = 0


def lanes_of(
    events: pd.DataFrame, plots: pd.DataFrame, order: tuple[str, ...], last: pd.Timestamp
) -> list[Lane]:
    """Sort events into lanes: one for all plots, one per treatment with events of its own.

    ``events`` has date, plot (missing or empty for the whole site) and event; ``plots`` has plot
    and treatment; ``order`` is that of the lanes. Events of plots that are
    not in ``plots`` are left out. ``last`` ends a cover that never came off.
    """
    placed = _with_treatment(events, plots)
    shared = _shared_events(placed, plots)
    site_wide = placed["plot"].isna() | placed["plot"].eq("")
    common = placed["event"].isin(shared) | site_wide
    lanes = [Lane(ALL, tuple(_items(placed[common], None, last)))]
    for treatment in order:
        own = placed[~common & (placed["treatment"] == treatment)]
        size = (plots["treatment"] == treatment).sum()
        lanes.append(Lane(treatment, tuple(_items(own, int(size), last))))
    return [lane for lane in lanes if lane.items]


def _with_treatment(events: pd.DataFrame, plots: pd.DataFrame) -> pd.DataFrame:
    treatment_of = plots.drop_duplicates("plot").set_index("plot")["treatment"]
    placed = events.assign(date=pd.to_datetime(events["date"]))
    return placed.assign(treatment=placed["plot"].map(treatment_of))


def _shared_events(placed: pd.DataFrame, plots: pd.DataFrame) -> set[str]:
    """Events that every treatment had, such as bloom scored in each plot."""
    everyone = set(plots["treatment"])
    had = placed.dropna(subset="treatment").groupby("event")["treatment"].agg(set)
    return {str(event) for event, who in had.items() if who == everyone}


def _items(own: pd.DataFrame, size: int | None, last: pd.Timestamp) -> Iterable[Item]:
    names = list(dict.fromkeys(own.sort_values("date")["event"]))
    for name in names:
        if name.endswith("_on"):
            yield from _spans(own, name, last)
        elif not (name.endswith("_off") and f"{name[:-4]}_on" in names):
            yield _single(own[own["event"] == name], name, size)


def _spans(own: pd.DataFrame, name: str, last: pd.Timestamp) -> Iterable[Item]:
    """One bar per time that something was on; plots a few days apart share a bar."""
    stem = name.removesuffix("_on")
    starts = sorted(own.loc[own["event"] == name, "date"].unique())
    ends = sorted(own.loc[own["event"] == f"{stem}_off", "date"].unique())
    while starts:
        end = next((day for day in ends if day >= starts[0]), None)
        stop = last if end is None else end
        together = [day for day in ends if end is not None and day <= end]
        text = f"{labels.words(stem)} {'still on' if end is None else 'on'}"
        yield Item((pd.Timestamp(starts[0]), pd.Timestamp(stop)), text, True, end is None)
        starts = [day for day in starts if day > stop]
        ends = ends[len(together) :]


def _single(own: pd.DataFrame, name: str, size: int | None) -> Item:
    days = tuple(pd.Timestamp(day) for day in sorted(own["date"].unique()))
    plots = own["plot"].nunique()
    text = labels.words(name)
    if size is None:
        ends = (days[0], days[-1]) if len(days) > 1 else days
        return Item(ends, text, span=len(days) > 1)
    some = f" ({plots} of {size} plots)" if plots < size else ""
    times = f", {len(days)} times" if len(days) > 1 else ""
    return Item(days, f"{text}{times}{some}")


def name_width(looks: dict[str, Style]) -> float:
    """Inches that the widest wrapped treatment name takes."""
    names = ["All plots", *(look.label for look in looks.values())]
    return max(text_width(wrap(name, NAME, theme.SMALL), theme.SMALL) for name in names)


def pack(lanes: list[Lane], looks: dict[str, Style], axis: TimeAxis) -> list[PackedLane]:
    """Give every item a line of its lane on which its text touches no other."""
    packed = []
    for lane in lanes:
        look = looks.get(lane.treatment)
        name = wrap(look.label if look else "All plots", NAME, theme.SMALL)
        placed, count = _lines([_place(item, axis) for item in lane.items])
        packed.append(PackedLane(name, look, placed, max(count, name.count("\n") + 1)))
    return packed


def height_of_lanes(packed: list[PackedLane]) -> float:
    """Inches that packed lanes take."""
    return LANE * sum(lane.lines for lane in packed)


def _place(item: Item, axis: TimeAxis) -> Place:
    room = axis.days(text_width(item.text, theme.SMALL) + GAP)
    first, last = float(date2num(item.days[0])), float(date2num(item.days[-1]))
    low, high = axis.limits
    if last + room <= high:
        return Place(item, "right", first, last + room)
    if first - room >= low:
        return Place(item, "left", first - room, last)
    start = max(low, min(first, high - room))
    return Place(item, "below", start, max(last, start + room))


def _lines(places: list[Place]) -> tuple[tuple[Place, ...], int]:
    """Give each place the first line, or first two, on which it touches no other."""
    ends: list[float] = []
    placed = []
    for place in places:
        needed = 2 if place.side == "below" else 1
        line = 0
        while any(end > place.first for end in ends[line : line + needed]):
            line += 1
        ends += [-inf] * (line + needed - len(ends))
        ends[line : line + needed] = [place.last] * needed
        placed.append(replace(place, line=line))
    return tuple(placed), len(ends)


def draw_lanes(figure: Figure, top: float, left: float, packed: list[PackedLane],
               axis: TimeAxis) -> Panel:  # fmt: skip
    """Draw packed lanes in a panel whose top left corner is given in inches."""
    lines = sum(lane.lines for lane in packed)
    size = axis.width, height_of_lanes(packed)
    panel = placed(figure, (left, top), size, axis.limits, (lines, 0))
    line = 0
    for lane in packed:
        for place in lane.placed:
            _draw_item(panel, place.item, line + place.line + 0.5, lane.look)
            _name_item(panel, place, line + place.line + 0.5)
        panel.beside(lane.name, 1, line + lane.lines / 2, (8, 0), va="center",
                     color=lane.look.text if lane.look else theme.INK, fontsize=theme.SMALL,
                     linespacing=1.0)  # fmt: skip
        line += lane.lines
        panel.across(line, color=theme.RULE, lw=0.6)
    return panel


def _draw_item(panel: Panel, item: Item, row: float, look: Style | None) -> None:
    days = [float(date2num(day)) for day in item.days]
    rows = [row] * len(days)
    colour = look.colour if look else theme.CHECK
    if item.span:
        panel.line(days, rows, color=colour, lw=5, solid_capstyle="butt")
    elif look:
        panel.line(days, rows, color=colour, marker=look.marker, ls="", ms=5.5, mew=0)
    else:
        panel.line(days, rows, color=colour, marker="|", ls="", ms=10, mew=1.8)


def _name_item(panel: Panel, place: Place, line: float) -> None:
    days = place.item.days
    day, shift, side = {
        "right": (float(date2num(days[-1])), 6, "left"),
        "left": (float(date2num(days[0])), -6, "right"),
        "below": (place.first, 0, "left"),
    }[place.side]
    panel.words(place.item.text, day, line + (place.side == "below"), (shift, 0), ha=side,
                va="center_baseline", fontsize=theme.SMALL)  # fmt: skip
