"""A site whose untreated check differs wildly from that of the other sites of the same season."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from trialkit.errors import Fault
from trialkit.intake.problems import Problem
from trialkit.intake.suspicion.rows import Rows, in_rows

CODE: Final = "check_differs"
REMEDY: Final = (
    "Look whether the check was left untreated and is the plot that the layout calls so, in which "
    "unit the sheet was typed, and whether the same things were counted as elsewhere"
)
_FEWEST_OTHERS: Final = 2
_FAR: Final = 4.0
# Least spread between sites, as the standard deviation of a logarithm (common practice, no source):
# pressure and yield differ between farms by several times, the weight of one fruit hardly does.
_COUNTS: Final = 0.6
_SCORES: Final = 0.5
_YIELD: Final = 0.4
_FRUIT: Final = 0.17


@dataclass(frozen=True)
class CheckLevel:
    """The middle of a site's untreated check in one thing that was counted, scored or weighed.

    ``log`` is the logarithm of the mean, ``spread`` the least standard deviation between sites
    that is believed; ``row`` and ``column`` point at the first of the rows it was worked out from.
    ``fault`` names file, row and cell as typed, with the words still to come.
    """

    what: str
    log: float
    spread: float
    table: str
    row: int
    column: str
    fault: Fault | None = None

    @property
    def problem(self) -> Problem:
        """The question without its words, to be placed in the sheet."""
        return Problem(CODE, "", REMEDY, [self.row], self.column, "question")


@np.errstate(all="ignore")
def check_levels(
    tables: Mapping[str, pd.DataFrame | Rows], check: str, finished: bool = True
) -> list[CheckLevel]:
    """Return the levels of the untreated check in the tidy tables of a site-season.

    While a season is running, sites are at different points of it, so that only the weight of a
    single fruit can be compared.
    """
    known = in_rows(tables)
    plots = known["plots"].frame
    own = plots[(plots["treatment"] == check) & (plots["lost"].fillna("") == "")]
    if not finished:
        return [one for one in _of_harvest(known["harvest"], own) if one.spread == _FRUIT]
    return [
        *_of_counts(known["scouting"], own),
        *_of_scores(known["ratings"], own),
        *_of_harvest(known["harvest"], own),
    ]


def odd_checks(
    levels: Mapping[tuple[int, str], Sequence[CheckLevel]],
) -> Iterator[tuple[tuple[int, str], CheckLevel, str]]:
    """Yield (season, site), level and words for every check far from those of the other sites.

    Held against the middle of at least two other sites of the season, in robust standard
    deviations (median absolute deviation) of a logarithm.
    """
    alike: dict[tuple[int, str], list[tuple[tuple[int, str], CheckLevel]]] = {}
    for place, own in levels.items():
        for level in own:
            alike.setdefault((place[0], level.what), []).append((place, level))
    for found in alike.values():
        logs = np.array([level.log for _, level in found])
        for at, (place, level) in enumerate(found):
            others = np.delete(logs, at)
            if len(others) >= _FEWEST_OTHERS and _is_far(level, others):
                yield place, level, _words(level, others, place[0])


def _is_far(level: CheckLevel, others: np.ndarray) -> bool:
    middle = float(np.median(others))
    spread = max(1.4826 * float(np.median(np.abs(others - middle))), level.spread)
    return abs(level.log - middle) > _FAR * spread


def site_faults(levels: Mapping[tuple[int, str], Sequence[CheckLevel]]) -> Iterator[
    tuple[tuple[int, str], Fault]
]:  # fmt: skip
    """Yield the questions of :func:`odd_checks` as faults of their sheets."""
    for place, level, words in odd_checks(levels):
        if level.fault is not None:
            yield place, replace(level.fault, what=words)


def _mine(rows: Rows, own: pd.DataFrame) -> np.ndarray:
    """Say of each row whether it is of one of the check's own plots."""
    codes, labels = rows.words("plot")
    plots = set(own["plot"])
    return np.array([*(label in plots for label in labels), False])[codes]


def _of_counts(rows: Rows, own: pd.DataFrame) -> Iterator[CheckLevel]:
    mine, count = _mine(rows, own), rows.values("count")
    (organism, names), (stage, stages) = rows.words("organism"), rows.words("stage")
    kind = np.where(mine & (organism >= 0), organism * (len(stages) + 1) + stage + 1, -1)
    for one in np.unique(kind[kind >= 0]).tolist():
        part, (name, of_stage) = kind == one, divmod(one, len(stages) + 1)
        # Half an insect, so that a check without any still has a logarithm.
        mean = (float(count[part].sum()) + 0.5) / int(part.sum())
        what = f"mean count of {names[name]} {['', *stages][of_stage]}".rstrip()
        (row,) = rows.first(part)
        yield CheckLevel(what, float(np.log(mean)), _COUNTS, "scouting", row, "count")


def _of_scores(rows: Rows, own: pd.DataFrame) -> Iterator[CheckLevel]:
    mine, (codes, names) = _mine(rows, own), rows.words("what")
    for one, what in enumerate(names):
        part = mine & (codes == one)
        mean = float(rows.values("score")[part].mean()) if part.any() else 0.0
        if mean > 0:
            (row,), name = rows.first(part), f"mean score of {what}"
            yield CheckLevel(name, float(np.log(mean)), _SCORES, "ratings", row, "score")


def _of_harvest(rows: Rows, own: pd.DataFrame) -> Iterator[CheckLevel]:
    fruit, weight, (grade, grades) = (
        rows.values("fruit"),
        rows.values("weight"),
        rows.words("grade"),
    )
    good = np.array([*(name == "marketable" for name in grades), False])[grade]
    mine = _mine(rows, own) & good & (fruit > 0) & (weight > 0)
    if not mine.any():
        return
    whole, (row,) = float(weight[mine].sum()), rows.first(mine)
    area, days = float(own["area"].sum(skipna=False)), len(np.unique(rows.days()[0][mine]))
    each = ("weight of a marketable fruit", whole / float(fruit[mine].sum()), _FRUIT)
    per_area = ("marketable weight per picking and area", whole / area / days, _YIELD)
    for name, value, spread in (each, per_area):
        if np.isfinite(value) and value > 0:
            yield CheckLevel(name, float(np.log(value)), spread, "harvest", row, "weight")


def _words(level: CheckLevel, others: np.ndarray, season: int) -> str:
    middle = float(np.median(others))
    low, high = (_factor(float(end) - middle) for end in (others.min(), others.max()))
    return (
        f"in the untreated check of this site the {level.what} is {_factor(level.log - middle)} "
        f"the middle of the {len(others)} other sites of {season}, which lie between {low} and "
        f"{high} that middle"
    )


def _factor(log: float) -> str:
    factor = float(np.exp(abs(log)))
    text = f"{factor:.0f}" if factor >= 20 else f"{factor:.1f}"
    return f"{text} times" if log >= 0 or text == "1.0" else f"1/{text} of"
