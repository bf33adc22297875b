"""Making text fit: its measured size, wrapping, and labels moved apart so that none overlap."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from matplotlib.font_manager import FontProperties

from trialkit.figures.lettering import FAMILY, Renderer, line_in

_DPI: Final = 180


@lru_cache(maxsize=4096)
def text_width(text: str, size: float, weight: str = "normal") -> float:
    """Return the width in inches of the widest line of ``text`` in points ``size``.

    >>> 0.3 < text_width("Netting", 10.0) < text_width("Netting", 10.0, "bold") < 0.7
    True
    """
    return max(_line_width(line, size, weight) for line in text.split("\n")) / _DPI


def _line_width(line: str, size: float, weight: str) -> float:
    """Width in pixels; a line that has to be shaped is measured as it will be drawn."""
    if found := line_in(line, weight, size, _DPI):
        return found.advance
    font = FontProperties(family=FAMILY, size=size, weight=weight)
    return float(Renderer(1, 1, _DPI).get_text_width_height_descent(line, font, False)[0])


def wrap(text: str, width: float, size: float, weight: str = "normal") -> str:
    """Break ``text`` at blanks so that each line stays within ``width`` inches if words allow.

    >>> wrap("Silver mulch", 0.7, 10.0)
    'Silver\\nmulch'
    """
    lines = [""]
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width(longer, size, weight) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return "\n".join(lines)


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Move label centres as little as needed so that none overlap and all stay within limits.

    ``wanted`` are the centres asked for, ``sizes`` the room each label takes. Neighbours that
    collide form a group that sits around its members' mean (least squares, pooling adjacent
    violators). Labels that do not fit between ``low`` and ``high`` at all start at ``low``.

    >>> spread([1.0, 1.0], [1.0, 1.0], 0.0, 10.0)
    [0.5, 1.5]
    """
    order = sorted(range(len(wanted)), key=lambda index: wanted[index])
    # Each group: [sum of wanted first-label starts, members, room].
    groups: list[list[float]] = []
    for index in order:
        groups.append([wanted[index] - sizes[index] / 2, 1, sizes[index]])
        while len(groups) > 1 and _start(groups[-2]) + groups[-2][2] > _start(groups[-1]):
            total, members, room = groups.pop()
            groups[-1][0] += total - members * groups[-1][2]
            groups[-1][1] += members
            groups[-1][2] += room
    starts = _within([(_start(group), group[2]) for group in groups], low, high)
    return _unpacked(order, sizes, groups, starts)


def _start(group: list[float]) -> float:
    return group[0] / group[1]


def _within(groups: list[tuple[float, float]], low: float, high: float) -> list[float]:
    """Push groups in from the upper limit, then from the lower one."""
    starts = [start for start, _ in groups]
    ceiling = high
    for place in reversed(range(len(groups))):
        starts[place] = min(starts[place], ceiling - groups[place][1])
        ceiling = starts[place]
    floor = low
    for place, (_, room) in enumerate(groups):
        starts[place] = max(starts[place], floor)
        floor = starts[place] + room
    return starts


def _unpacked(
    order: list[int], sizes: Sequence[float], groups: list[list[float]], starts: list[float]
) -> list[float]:
    centres = [0.0] * len(order)
    waiting = iter(order)
    for (_, members, _), start in zip(groups, starts, strict=True):
        edge = start
        for _ in range(int(members)):
            index = next(waiting)
            centres[index] = edge + sizes[index] / 2
            edge += sizes[index]
    return centres
