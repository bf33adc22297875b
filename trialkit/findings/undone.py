"""What the corrections on record moved: every contrast with them, and as the sheets were typed."""

from typing import Any, Final

import pandas as pd

from trialkit.columns import MOVED
from trialkit.findings.effect_table import records
from trialkit.findings.site_season import in_study_order, site_season_findings
from trialkit.study import Study

NO_ANSWER: Final = "no answer"
_KEYS: Final = ["season", "site", "measure", "treatment", "effect_unit"]
_OF_A_VALUE: Final = ["plot", "treatment", "block", "value", "events", "trials", "exposure"]
_SHOWN: Final = ("effect", "effect_low", "effect_high", "bound", "verdict", "direction")
_TEXTS: Final = ("bound", "verdict", "direction")
_AS_TYPED: Final = {
    name: f"as_typed_{name.removeprefix('effect_') if name != 'effect' else name}"
    for name in _SHOWN
}


def moved_by_corrections(
    study: Study, effects: pd.DataFrame, values: pd.DataFrame, as_typed: pd.DataFrame
) -> pd.DataFrame:
    """Return one row per contrast that corrections moved (columns MOVED).

    ``effects`` has columns EFFECTS and comes from the plot ``values`` (columns PLOT_VALUES) of one
    site-season; ``as_typed`` are the plot values of the same site-season with every correction
    undone. Only measures of which a plot value differs are analysed again.
    """
    touched = _touched(values, as_typed)
    if not touched:
        return pd.DataFrame(columns=list(MOVED))
    corrected = effects[effects["measure"].isin(touched)]
    again = as_typed[as_typed["measure"].isin(touched)]
    undone = site_season_findings(study, again).effects if len(again) else effects.iloc[:0]
    return _side_by_side(study, corrected, undone)


def without_answer(study: Study, effects: pd.DataFrame) -> pd.DataFrame:
    """Return every contrast as moved: as typed, the sheets could not be analysed at all."""
    return _side_by_side(study, effects, effects.iloc[:0])


def verdicts_moved(moved: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of MOVED whose verdict, or whose direction where there is one, changed."""
    another = moved["verdict"] != moved["as_typed_verdict"]
    settled = ~moved["verdict"].isin(["not settled", "no worthwhile difference", NO_ANSWER])
    turned = settled & (moved["direction"] != moved["as_typed_direction"])
    return moved[another | turned]


def _touched(values: pd.DataFrame, as_typed: pd.DataFrame) -> list[str]:
    """Measures of which some plot has another value, or is left out otherwise."""
    names = dict.fromkeys([*values["measure"], *as_typed["measure"]])
    return [name for name in names if not _same(_of(values, name), _of(as_typed, name))]


def _of(values: pd.DataFrame, measure: str) -> pd.DataFrame:
    rows = values[values["measure"] == measure].sort_values("plot", kind="stable")
    rows = rows.assign(left_out=rows["left_out"] != "")
    return rows[[*_OF_A_VALUE, "left_out"]].reset_index(drop=True)


def _same(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    """True where both hold the same; numbers of both come from the same code, so exactly."""
    if len(one) != len(other):
        return False
    alike = (one == other) | (one.isna() & other.isna())
    return bool(alike.all(axis=None))


def _side_by_side(study: Study, effects: pd.DataFrame, undone: pd.DataFrame) -> pd.DataFrame:
    """Contrasts with and without corrections, those that are exactly the same left out."""
    typed = undone[[*_KEYS, *_SHOWN]].rename(columns=_AS_TYPED)
    both = effects[[*_KEYS, *_SHOWN]].merge(typed, on=_KEYS, how="outer")
    texts = [*_TEXTS, *(_AS_TYPED[name] for name in _TEXTS)]
    both[texts] = both[texts].astype("object")
    for name in ("verdict", "as_typed_verdict"):
        both[name] = both[name].fillna(NO_ANSWER)
    both[texts] = both[texts].fillna("")
    moved = [any(_differ(row, name) for name in _SHOWN) for row in records(both)]
    return in_study_order(study, both.loc[moved, list(MOVED)])


def _differ(row: dict[str, Any], name: str) -> bool:
    one, other = row[name], row[_AS_TYPED[name]]
    return not (one == other or (pd.isna(one) and pd.isna(other)))
