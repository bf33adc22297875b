"""Which of site, season and their interactions with treatment an analysis across takes in.

Environments taken as independent are too sure of themselves where treatments answer a site (or a
season) in the same way each time. The rule:

1. Where there are at least three sites, two or more of which come back in another season, site and
   site x treatment are in.
2. Season and season x treatment are in as well where seasons recur and a preliminary F test of
   season x treatment against environment x treatment gives p of at most 0.3; of at most 0.5 where
   sites and seasons leave but one environment more than they need, so that the test sees little.
3. Otherwise they are part of the variation between environments, as a note says.

With two sites but three seasons the two change places. Measured by tests/benchmarks/site_terms.py
(site_terms.csv; 3 sites x 2 or 3 seasons and 5 x 3, and 3 or 5 sites of which two come back, 300
data sets each): where answers repeat at a site or in a season, environments alone reject 11 to 67 %
of true hypotheses, the rule 2 to 8 %. A single cell is known to 1.3 points; averaged over the six
complete layouts (1,800 data sets) the rule rejects 3.4 % where nothing repeats, 4.4 % where sites
do, 4.8 % where seasons do, and 3.7 % where both do. Its price where nothing repeats: an effect
found in 98 to 100 % of studies with environments alone is found in 63 to 73 % (3 x 2), 91 to 93 %
(3 x 3) and 100 % (5 x 3); one found in 94 to 100 % in 43 to 57 % where only two sites come back.
Never taking season in would reject 14 to 80 % where seasons matter; always taking it in, 1 to 2 %
where nothing repeats (from mean squares of balanced studies drawn by themselves; not in the table).
The level of 0.5 is for those few environments: in 3 sites x 2 seasons less one, 0.3 rejects 12 %
where answers repeat in a season, 0.5 rejects 6 %, and taking it in always 1 %, which leaves an
effect found in 94 % to be found in 9 % (300 data sets).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

FEWEST_LEVELS = 3
FEWEST_RECURRING = 2
MOST_PLOTS_TOGETHER = 2000
PRELIMINARY_LEVEL = 0.3
PRELIMINARY_LEVEL_FEW = 0.5

Showing = Callable[[np.ndarray, np.ndarray], float]


@dataclass(frozen=True)
class SiteSeason:
    """Random terms of site and season.

    factors  : component name -> (n,) labels. unit: (n,) which plots may be correlated through them.
    left_out : sentences on what is not in, and why.
    """

    unit: np.ndarray
    factors: Mapping[str, np.ndarray] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()


def site_season_choices(
    environment: np.ndarray,
    treatment: np.ndarray,
    given: Mapping[str, np.ndarray],
    showing: Showing,
    asked: Sequence[str] | None = None,
) -> list[SiteSeason]:
    """Return the terms of ``given`` ("site", "season" -> (n,) codes) to try, the fullest first.

    ``showing(tested, kept)`` gives the p value of ``tested`` x treatment beside ``kept`` x
    treatment. The last choice takes in neither. Two crossed factors tie all plots together, which
    is limited to 2,000 plots. With ``asked``, names of ``given``, the fullest choice takes in those
    and no rule is asked: parts of a study are so analysed by the model of the whole.

    >>> import numpy as np
    >>> site = np.repeat(np.arange(3), 6)
    >>> found = site_season_choices(np.repeat(np.arange(9), 2), np.tile([0, 1], 9),
    ...                             {"site": site}, lambda tested, kept: 1.0)
    >>> [list(choice.factors) for choice in found]
    [['site', 'site:treatment'], []]
    """
    if asked is None:
        whole, sentences = _by_rule(given, environment, showing)
    else:
        whole, sentences = {name: given[name] for name in given if name in asked}, ()
    choices = []
    for number in range(len(whole), 0, -1):
        carried = dict(list(whole.items())[:number])
        failed = tuple(_failed(name) for name in whole if name not in carried)
        choices.append(_terms(environment, treatment, carried, (*sentences, *failed)))
    failed = tuple(_failed(name) for name in whole)
    return [*choices, SiteSeason(environment, left_out=(*sentences, *failed))]


def _by_rule(
    given: Mapping[str, np.ndarray], environment: np.ndarray, showing: Showing
) -> tuple[dict[str, np.ndarray], tuple[str, ...]]:
    """Return which of ``given`` to take in, the surest first, and why the others are not."""
    reasons = {name: _reason_against(name, codes, environment) for name, codes in given.items()}
    main = next((name for name, reason in reasons.items() if not reason), None)
    if main is None:
        return {}, tuple(reasons.values())
    words = [_beside(name, main, given, environment, showing) for name in given if name != main]
    sentences = tuple(word for word in words if word)
    others = {} if sentences else {name: given[name] for name in given if name != main}
    return {main: given[main]} | others, sentences


def _beside(
    name: str,
    main: str,
    given: Mapping[str, np.ndarray],
    environment: np.ndarray,
    showing: Showing,
) -> str:
    """Return why ``name`` does not enter beside ``main``, or nothing if it does."""
    if len(environment) > MOST_PLOTS_TOGETHER:
        return (
            f"With {len(environment)} plots, {name} and its interaction with treatment are left "
            f"in the variation between environments."
        )
    if _recurring(given[name], environment) < FEWEST_RECURRING:
        return _reason_against(name, given[name], environment)
    p, level = showing(given[name], given[main]), _level(given[name], given[main], environment)
    if p <= level:
        return ""
    found = f"p = {p:.2g}" if np.isfinite(p) else "the data leave nothing to test it with"
    return (
        f"No {name} x treatment interaction shows beside that of {main} (preliminary F test, "
        f"{found}; it enters at p of {level:g} or less), so {name} is part of the "
        "variation between environments."
    )


def _level(tested: np.ndarray, kept: np.ndarray, environment: np.ndarray) -> float:
    """Return the level of the preliminary test, whose error rests on the environments to spare."""
    rows = [len(np.unique(codes)) for codes in (environment, tested, kept)]
    spare = rows[0] - (rows[1] + rows[2] - 1)
    return PRELIMINARY_LEVEL if spare > 1 else PRELIMINARY_LEVEL_FEW


def _failed(name: str) -> str:
    return (
        f"The variances of {name} and {name} x treatment could not be estimated from these data, "
        "so they are part of the variation between environments."
    )


def _terms(
    environment: np.ndarray,
    treatment: np.ndarray,
    carried: Mapping[str, np.ndarray],
    words: tuple[str, ...],
) -> SiteSeason:
    factors = {}
    for name, codes in carried.items():
        factors[name] = codes
        factors[f"{name}:treatment"] = codes * (int(treatment.max()) + 1) + treatment
    return SiteSeason(_unit(environment, carried), factors, words)


def _recurring(codes: np.ndarray, environment: np.ndarray) -> int:
    """Return how many levels are met in more than one environment."""
    pairs = np.unique(np.stack([codes, environment]), axis=1)
    return int((np.bincount(pairs[0]) > 1).sum())


def _reason_against(name: str, codes: np.ndarray, environment: np.ndarray) -> str:
    recurring, levels = _recurring(codes, environment), len(np.unique(codes))
    if levels >= FEWEST_LEVELS and recurring >= FEWEST_RECURRING:
        return ""
    few = levels < FEWEST_LEVELS
    number, needed = (levels, FEWEST_LEVELS) if few else (recurring, FEWEST_RECURRING)
    named = name if number == 1 else f"{name}s"
    met, verb = "" if few else " met twice", "is" if number == 1 else "are"
    return (
        f"{number} {named}{met} {verb} too few to tell "
        f"{name} and its interaction with treatment from the variation between environments "
        f"({needed} are needed), so they are part of it."
    )


def _unit(environment: np.ndarray, carried: Mapping[str, np.ndarray]) -> np.ndarray:
    return next(iter(carried.values())) if len(carried) == 1 else np.zeros_like(environment)
