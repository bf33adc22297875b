"""An observer whose counts run high or low beside others on the same days and treatments."""

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.problems import Problem
from trialkit.intake.suspicion.rows import Rows, Tables, of_plots

_FAR: Final = 5.0
_FEWEST_PAIRS: Final = 8
_ALIKE: Final = ["organism", "stage", "treatment", "date"]


def observers(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """An observer whose counts run high or low beside others on the same days and treatments."""
    if not _share_days(tables["scouting"]):
        return
    rows = _scouted(tables["scouting"], tables["plots"]).dropna(subset="observer")
    keys = [*_ALIKE, "plot", "observer"]
    seen = rows.groupby(keys, as_index=False, observed=True)["count"].mean()
    shared = seen.groupby(_ALIKE, observed=True)["observer"].transform("nunique") > 1
    seen = seen[shared]
    often = seen["observer"].value_counts()
    for name in sorted(often.index[often >= _FEWEST_PAIRS]):
        mine = seen["observer"] == name
        means = seen.groupby([*_ALIKE, mine], observed=True)["count"].mean().unstack().dropna()
        ratio, t = _ratio(means[True].to_numpy(), means[False].to_numpy())
        if len(means) >= _FEWEST_PAIRS and abs(t) > _FAR and max(ratio, 1 / ratio) > 1.6:
            yield "scouting", _observer(rows, name, ratio, len(means))


def _share_days(rows: Rows) -> bool:
    """Say whether any day was scouted by more than one observer."""
    who, names = rows.words("observer")
    days, dates = rows.days()
    known = (who >= 0) & (days >= 0)
    if len(names) < 2:
        return False
    pairs = pd.unique(days[known] * len(names) + who[known])
    return bool((np.bincount(pairs // len(names), minlength=len(dates)) > 1).any())


def _scouted(rows: Rows, plots: Rows) -> pd.DataFrame:
    """Return the scouting rows with the treatment of their plots, words as categories."""
    words = {name: _categories(*rows.words(name)) for name in ("organism", "plot", "observer")}
    words["treatment"] = _categories(*of_plots(rows, plots, "treatment"))
    return rows.frame.assign(stage=rows.frame["stage"].fillna("").astype("category"), **words)


def _categories(codes: np.ndarray, words: list[str]) -> pd.Categorical:
    return pd.Categorical.from_codes(codes, pd.Index(words, dtype="str"))


def _ratio(own: np.ndarray, other: np.ndarray) -> tuple[float, float]:
    """Ratio of two sums of pairs, and its logarithm in standard errors (by linearisation)."""
    if own.sum() <= 0 or other.sum() <= 0:
        return 1.0, 0.0
    ratio = float(own.sum() / other.sum())
    error = float(np.sqrt(((own - ratio * other) ** 2).sum()) / own.sum())
    return ratio, float(np.log(ratio) / error) if error > 0 else 0.0


def _observer(rows: pd.DataFrame, name: str, ratio: float, n: int) -> Problem:
    return Problem(
        "observer_differs",
        f"{name} counts {ratio:.1f} times what others count in the same treatments ({n} days and "
        "treatments)",
        "Let both count the same ten plants, and agree on what is counted",
        [int(row) for row in rows.index[rows["observer"] == name][:1]],
        "observer",
        "question",
    )
