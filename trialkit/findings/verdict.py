"""A verdict on a contrast, from its confidence interval and the smallest worthwhile difference."""

from typing import Final, Literal, NamedTuple

from trialkit.inference.equivalence import verdict_of

Direction = Literal["better", "worse", "none"]

MEANING: Final = {
    "worthwhile": "all of the interval lies beyond the smallest worthwhile difference",
    "some effect": "the interval leaves out no change, but not the smallest worthwhile difference",
    "no worthwhile difference": "all of the interval lies inside the smallest worthwhile "
    "difference on either side",
    "not settled": "the interval holds both no change and a worthwhile difference",
}


class Verdict(NamedTuple):
    """The verdict's word and what the effect means for a grower."""

    word: str
    direction: Direction


def judge(low: float, high: float, margin: float, lower_is_better: bool) -> Verdict:
    """Judge an effect whose interval runs from ``low`` to ``high``; ends may be infinite.

    ``low``, ``high`` and ``margin`` are on one scale. The direction is "none" unless the interval
    leaves out no change.

    >>> judge(-72.0, -48.0, 30.0, lower_is_better=True)
    Verdict(word='worthwhile', direction='better')
    >>> judge(-12.0, 30.0, 30.0, lower_is_better=True)
    Verdict(word='not settled', direction='none')
    """
    word = verdict_of(low, high, margin)
    if low <= 0 <= high:
        return Verdict(word, "none")
    went_down = high < 0
    return Verdict(word, "better" if went_down == lower_is_better else "worse")
