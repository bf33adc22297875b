"""The order of a story: a person's arrangement of texts around outputs that stay put."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Arrangement:
    """One place's order of names: as it is now, and as it was when trialkit last wrote it."""

    now: tuple[str, ...]
    before: tuple[str, ...]

    @property
    def moved(self) -> bool:
        """True when names that were there before stand in another order now."""
        both = set(self.now) & set(self.before)
        return [n for n in self.now if n in both] != [n for n in self.before if n in both]


def merged_order(
    template: Sequence[str],
    fixed: frozenset[str],
    kept: frozenset[str],
    agreed: Arrangement,
    places: Sequence[Arrangement],
) -> tuple[str, ...]:
    """Return the order of the texts ``kept`` and all ``fixed`` points.

    ``agreed`` is the order of the last render beside the template's order of that time; ``places``
    are the notebook and the file, the one that leads first. A place in which a person moved
    something leads; else an arrangement of before; else the template. What the leader does not
    have follows the neighbour that it follows elsewhere.
    """
    wanted = kept | fixed
    arranged = [place.now for place in places if place.moved]
    arranged += [agreed.now] if agreed.moved else []
    others = [*(place.now for place in places), agreed.now, tuple(template)]
    leader = arranged[0] if arranged else tuple(template)
    order = [name for name in leader if name in wanted]
    for other in others:
        _add_missing(order, [name for name in other if name in wanted])
    return _outputs_in_place(order, [name for name in template if name in fixed], fixed)


def _add_missing(order: list[str], other: Sequence[str]) -> None:
    """Put each missing name behind the nearest name that it follows in ``other``."""
    for place, name in enumerate(other):
        if name in order:
            continue
        before = [known for known in other[:place] if known in order]
        order.insert(order.index(before[-1]) + 1 if before else 0, name)


def _outputs_in_place(
    order: Iterable[str], outputs: Sequence[str], fixed: frozenset[str]
) -> tuple[str, ...]:
    """Outputs in the template's order, each followed by the texts that a person left behind it."""
    behind: dict[str, list[str]] = {"": [], **{name: [] for name in outputs}}
    last = ""
    for name in order:
        if name in fixed:
            last = name
        else:
            behind[last].append(name)
    told = list(behind[""])
    for name in outputs:
        told += [name, *behind[name]]
    return tuple(told)
