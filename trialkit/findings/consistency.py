"""Does it travel: the same effect season by season, without each place, and at the next place."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from trialkit.columns import EFFECTS
from trialkit.errors import AnalysisError
from trialkit.findings.environment import Environment, environment_label
from trialkit.findings.refit import Way, analyse_again, effects_again, values_of
from trialkit.findings.spread import variance_between
from trialkit.inference import Analysis
from trialkit.inference.prediction import around
from trialkit.inference.trend import permutation_trend
from trialkit.study import Measure, Study

LOOKING_EARLY: Final = (
    "Each row uses all data up to its season. Whoever looks again after every season and stops as "
    "soon as an interval leaves out zero finds an effect too often where there is none; these "
    "intervals make no allowance for it."
)
EXPLORATORY: Final = (
    "This is exploratory: few places, and they differ in much besides. It raises questions for "
    "further trials and settles none. The check stands on both sides where effects are set against "
    "pressure in the check, which alone can make them seem to go together."
)
LEAST_IN_TURN: Final = 3
MOST_IN_TURN: Final = 24
TRENDS: Final = ("treatment", "condition", "n", "slope", "correlation", "p", "exact", "smallest_p")


def season_by_season(
    study: Study, measure: Measure, environments: Sequence[Environment]
) -> pd.DataFrame:
    """Effects from all site-seasons up to each season: EFFECTS with ``label``."""
    parts, whole = [], values_of(measure, environments)
    for year in sorted({item.season for item in environments}):
        values = whole[whole["season"] <= year].reset_index(drop=True)
        parts.append(effects_again(study, measure, values, f"up to {year}"))
    return _stacked(parts)


def without_each(
    study: Study,
    measure: Measure,
    environments: Sequence[Environment],
    reported: Analysis | None = None,
) -> pd.DataFrame:
    """Effects without each site-season in turn: EFFECTS with ``label``.

    Of more than MOST_IN_TURN site-seasons a single one hardly moves an answer; whole sites and
    whole seasons are left out instead. None is left out of fewer than three, nor of more than that.
    Site and season have terms of their own where they have them in the analysis of all: fewer
    site-seasons must not make a comparison surer by taking them as independent. ``reported`` is
    that analysis, where it is at hand; else it is worked out anew.
    """
    turns = _in_turn(study, environments)
    if not turns:
        return _stacked([])
    parts, whole = [], values_of(measure, environments)
    way = Way(recurring=_recurring(study, measure, whole, reported))
    for label, out in turns.items():
        here = whole["environment"].isin([environment_label(*place) for place in out])
        rest = whole[~here].reset_index(drop=True)
        parts.append(effects_again(study, measure, rest, f"without {label}", way))
    return _stacked(parts)


def _recurring(
    study: Study, measure: Measure, values: pd.DataFrame, reported: Analysis | None
) -> tuple[str, ...] | None:
    """Which of site and season have terms of their own in the analysis of ``values``."""
    try:
        components = (reported or analyse_again(study, measure, values)).model.components
    except AnalysisError:
        return None
    return tuple(name for name in ("site", "season") if f"{name}:treatment" in components)


def left_out_in_turn(environments: Sequence[Environment]) -> str:
    """Say what :func:`without_each` leaves out."""
    return "site-season" if len(environments) <= MOST_IN_TURN else "site or season"


def _in_turn(study: Study, environments: Sequence[Environment]) -> dict[str, list[tuple[int, str]]]:
    """Return label -> the site-seasons that are left out together."""
    places = [(item.season, item.site) for item in environments]
    if len(places) <= MOST_IN_TURN:
        single = {f"{study.site(site).name} {year}": [(year, site)] for year, site in places}
        return single if len(places) >= LEAST_IN_TURN else {}
    found: dict[str, list[tuple[int, str]]] = {}
    whole: tuple[dict[Any, str], ...] = (
        {site: study.site(site).name for _, site in places},
        {year: str(year) for year, _ in places},
    )
    for names in whole:
        if LEAST_IN_TURN <= len(names) <= MOST_IN_TURN:
            found |= {name: [one for one in places if key in one] for key, name in names.items()}
    return found


def _stacked(parts: list[pd.DataFrame]) -> pd.DataFrame:
    filled = [part for part in parts if len(part)]
    if not filled:
        return pd.DataFrame(columns=[*EFFECTS, "label"])
    return pd.concat(filled, ignore_index=True)


def prediction(measure: Measure, analysis: Analysis, level: float) -> pd.DataFrame:
    """Where the effect of one more site-season is expected: treatment, prediction_low, _high.

    On the scale of ``effect`` in EFFECTS. Both formulas stand in ``inference/prediction.py``: one
    for pooled ratios, which takes in the doubt about how much they vary between site-seasons, and
    one for differences (varying by treatment x environment, x site and x season as estimated). A
    percentage of the check takes its estimated mean as known. Percentage points are taken at the
    check's own percentage.
    """
    table, low_high = analysis.contrasts, _ends(analysis, level)
    means = analysis.means.set_index("treatment")["mean"]
    check = float(means[str(analysis.design.control)])
    ends = [_shown(end, measure, analysis, check) for end in low_high]
    frame = {"treatment": table["treatment"], "prediction_low": ends[0], "prediction_high": ends[1]}
    return pd.DataFrame(frame)


def _ends(analysis: Analysis, level: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the ends of the predictions on the scale of the model, in the order of contrasts."""
    table, model = analysis.contrasts, analysis.model
    estimate, se, df = (table[name].to_numpy(float) for name in ("estimate", "se", "df"))
    low, high = around(estimate, se, df, 2 * variance_between(analysis), level)
    ratios: Any = model.record.get("ratios", ())
    for ratio in ratios:
        row = (table["treatment"] == ratio["treatment"]) & (table["versus"] == ratio["versus"])
        low[row], high[row] = ratio["prediction_low"], ratio["prediction_high"]
    return low, high


def _shown(end: np.ndarray, measure: Measure, analysis: Analysis, check: float) -> np.ndarray:
    link = analysis.model.means.link
    if link == "log":
        return 100 * np.expm1(end)
    if link == "logit":
        odds = check / (1 - check) * np.exp(end)
        return 100 * (odds / (1 + odds) - check)
    if measure.margin_unit == "percent":
        return np.maximum(100 * end / check, -100.0)
    return end


def between_words(study: Study, measure: Measure, analysis: Analysis) -> str:
    """Say in a sentence how much a treatment's effect differs from one site-season to the next."""
    if not any(name.endswith(":treatment") for name in analysis.model.components):
        return f"{measure.name}: one site-season cannot show whether effects differ between places."
    sd = float(np.sqrt(2 * variance_between(analysis)))
    if sd == 0:
        return (
            f"{measure.name}: no difference in effects between site-seasons is seen beyond that of "
            f"plots; so few places could hide one."
        )
    mean = float(analysis.means.set_index("treatment")["mean"][study.check.id])
    if analysis.model.means.link == "log":
        size = f"by a factor of about {np.exp(sd):.2g} up or down"
    elif analysis.model.means.link == "logit":
        size = f"by a factor of about {np.exp(sd):.2g} in the odds"
    else:
        size = f"by about {100 * sd / mean:.0f} % of the check"
    return (
        f"{measure.name}: from one site-season to the next, a treatment's true effect is estimated "
        f"to differ {size} (one standard deviation)."
    )


def trends(
    effects: pd.DataFrame, conditions: pd.DataFrame, measure: str, seed: int = 1
) -> pd.DataFrame:
    """Test each treatment's effect against each condition of the site-seasons (columns TRENDS).

    ``effects`` are EFFECTS of single site-seasons, ``conditions`` has season, site and one numeric
    column a condition. Ratios enter as logarithms. What cannot be tested has no row.
    """
    own = effects[effects["measure"] == measure].merge(conditions, on=["season", "site"])
    names = [name for name in conditions.columns if name not in ("season", "site")]
    rows = []
    for treatment, group in own.groupby("treatment", sort=False):
        for name in names:
            y = group["estimate"].to_numpy(float)
            try:
                found = permutation_trend(group[name].to_numpy(float), y, seed)
            except AnalysisError:
                continue
            rows.append((treatment, name, found.n, found.slope, found.correlation, found.p,
                         found.exact, found.smallest_p))  # fmt: skip
    return pd.DataFrame(rows, columns=list(TRENDS))


def ranks(means: pd.DataFrame, measure: Measure) -> pd.DataFrame:
    """Rank treatments within every site-season, 1 the best; then over site-seasons.

    ``means`` are MEANS of single site-seasons. Columns: treatment, places, mean_rank, best_rank,
    worst_rank, times_first. Ties share the mean of their ranks. A rank takes no account of doubt.
    """
    own = means[means["measure"] == measure.id]
    rank = own.groupby(["season", "site"])["mean"].rank(ascending=measure.lower_is_better)
    grouped = own.assign(rank=rank).groupby("treatment", sort=False)["rank"]
    table: Any = grouped.agg(
        places="size",
        mean_rank="mean",
        best_rank="min",
        worst_rank="max",
        times_first=lambda r: int((r == 1).sum()),
    )
    return table.reset_index()
