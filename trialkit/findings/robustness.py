"""Does it depend on how we looked: the main contrasts under every choice that can be defended."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from trialkit.columns import ACROSS, EFFECTS
from trialkit.errors import AnalysisError
from trialkit.findings.environment import Environment
from trialkit.findings.refit import (
    Place,
    Way,
    analyse_again,
    each_place,
    effects_again,
    labelled,
    values_of,
)
from trialkit.findings.verdict import judge
from trialkit.inference import Analysis
from trialkit.inference.pooling import Pooled, pool
from trialkit.study import Measure, Study

REPORTED: Final = "as reported"
INDEPENDENT: Final = "site-seasons taken as independent"
OTHER_MODEL: Final = {
    "normal": ("lognormal", "on logarithms"),
    "lognormal": ("normal", "without logarithms"),
    "count": ("normal", "as plain differences"),
}


@dataclass(frozen=True)
class Choices:
    """What else could have been analysed.

    departed  : (season, site) of site-seasons that departed from the protocol, with their names.
    alternatives : label -> the same environments read another way, such as corrections undone.
    reported  : the analysis that is reported, where it is at hand; else it is worked out anew.
    by_place  : the analysis of each site-season by itself, likewise.
    """

    departed: tuple[Place, ...] = ()
    alternatives: Mapping[str, Sequence[Environment]] = field(default_factory=dict)
    reported: Analysis | None = None
    by_place: Mapping[Place, Analysis] | None = None


def robustness(
    study: Study,
    measure: Measure,
    environments: Sequence[Environment],
    choices: Choices | None = None,
) -> pd.DataFrame:
    """Return EFFECTS rows with ``label``, the choice; the first rows are those reported.

    A choice under which nothing can be computed, or that changes no data, has no rows.
    """
    options = choices or Choices()
    values = values_of(measure, environments)
    again = _Again(study, measure)
    reported = options.reported or again.analysis(values)
    parts = [again.rows(reported, REPORTED), *_other_models(again, measure, values)]
    parts.append(_independent(again, values, parts[0]))
    unadjusted = None if reported is None else replace(reported, adjust="none")
    parts.append(again.rows(unadjusted, "each treatment judged alone"))
    whole = complete_blocks(values, study.treatment_ids)
    if len(whole) < len(values):
        parts.append(again(whole, "complete blocks only"))
    for keep, label in _places(study, environments, options.departed):
        parts.append(again(values_of(measure, keep), label))
    for label, others in options.alternatives.items():
        parts.append(again(values_of(measure, others), label))
    if measure.family != "proportion" and measure.margin_unit == "percent":
        alone = options.by_place or each_place(study, measure, environments)
        parts.append(pooled_ratios(study, measure, alone.values()))
    filled = [part for part in parts if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else parts[0]


@dataclass(frozen=True)
class _Again:
    study: Study
    measure: Measure

    def __call__(self, values: pd.DataFrame, label: str, way: Way | None = None) -> pd.DataFrame:
        return effects_again(self.study, self.measure, values, label, way)

    def analysis(self, values: pd.DataFrame) -> Analysis | None:
        try:
            return analyse_again(self.study, self.measure, values)
        except AnalysisError:
            return None

    def rows(self, analysis: Analysis | None, label: str) -> pd.DataFrame:
        if analysis is None:
            return pd.DataFrame(columns=[*EFFECTS, "label"])
        return labelled(self.study, self.measure, analysis, label)


def _other_models(
    again: Callable[..., pd.DataFrame], measure: Measure, values: pd.DataFrame
) -> list[pd.DataFrame]:
    other = OTHER_MODEL.get(measure.family)
    if other is None or (other[0] == "lognormal" and not (values["value"] > 0).all()):
        return []
    return [again(values, other[1], Way(family=other[0]))]


def _independent(
    again: Callable[..., pd.DataFrame], values: pd.DataFrame, reported: pd.DataFrame
) -> pd.DataFrame:
    """Take site-seasons as independent; no rows where that is what is reported."""
    found = again(values, INDEPENDENT, Way(independent=True))
    same = len(found) == len(reported) and np.allclose(
        found["se"].astype(float), reported["se"].astype(float), equal_nan=True
    )
    return found.iloc[:0] if same else found


def complete_blocks(values: pd.DataFrame, treatments: Iterable[str]) -> pd.DataFrame:
    """Drop the blocks that lack a treatment, as where a plot was lost."""
    wanted = len(set(treatments))
    found = values.groupby(["environment", "block"])["treatment"].transform("nunique")
    return values[found == wanted]


def _places(
    study: Study, environments: Sequence[Environment], departed: Iterable[Place]
) -> list[tuple[list[Environment], str]]:
    """Environments that stay, site by site, without those that departed from the protocol."""
    found = []
    places = set(departed)
    for site in dict.fromkeys(item.site for item in environments):
        out = {(i.season, i.site) for i in environments if i.site == site} & places
        rest = [item for item in environments if (item.season, item.site) not in out]
        if out and len(rest) > 1:
            years = " and ".join(str(season) for season, _ in sorted(out))
            found.append((rest, f"without {study.site(site).name} {years} (other protocol)"))
    return found


def pooled_ratios(study: Study, measure: Measure, analyses: Collection[Analysis]) -> pd.DataFrame:
    """Pool the ratio of each treatment by itself over site-seasons, by random effects.

    ``analyses`` are those of single site-seasons, of a measure whose effects are percentages of
    the check. Site-seasons that give only a bound take no part. Intervals are made wide enough to
    hold together for all treatments (Bonferroni).
    """
    level = 1 - (1 - study.level) / (len(study.treatments) - 1)
    rows = []
    for treatment in study.treatment_ids[1:]:
        logs = [_log_ratio(one, treatment, study.check.id) for one in analyses]
        known = [log for log in logs if log is not None]
        try:
            done = pool([log[0] for log in known], [log[1] for log in known], level=level)
        except AnalysisError:
            continue
        rows.append(_ratio_row(study, measure, treatment, done))
    return pd.DataFrame(rows, columns=[*EFFECTS, "label"])


def _log_ratio(analysis: Analysis, treatment: str, check: str) -> tuple[float, float] | None:
    """Log ratio of a site-season with its standard error (delta method for plain means)."""
    means = analysis.model.means
    if treatment not in means.treatments:
        return None
    if (treatment, check) in analysis.model.bounds:
        return None
    i, j = means.treatments.index(treatment), means.treatments.index(check)
    m, v = means.estimate, means.covariance
    if means.link == "log":
        return float(m[i] - m[j]), float(np.sqrt(v[i, i] + v[j, j] - 2 * v[i, j]))
    if min(m[i], m[j]) <= 0:
        return None
    variance = v[i, i] / m[i] ** 2 + v[j, j] / m[j] ** 2 - 2 * v[i, j] / (m[i] * m[j])
    return float(np.log(m[i] / m[j])), float(np.sqrt(variance))


def _ratio_row(study: Study, measure: Measure, treatment: str, done: Pooled) -> dict[str, Any]:
    effect, low, high = (100 * float(np.expm1(x)) for x in (done.estimate, done.low, done.high))
    verdict = judge(low, high, measure.margin, measure.lower_is_better)
    return {
        "season": 0,
        "site": ACROSS,
        "measure": measure.id,
        "treatment": treatment,
        "versus": study.check.id,
        "estimate": done.estimate,
        "se": done.se,
        "df": done.df,
        "low": done.low,
        "high": done.high,
        "effect": effect,
        "effect_low": low,
        "effect_high": high,
        "effect_unit": "percent",
        "margin": measure.margin,
        "verdict": verdict.word,
        "direction": verdict.direction,
        "bound": "",
        "label": "ratios of the site-seasons pooled",
    }


def depends(table: pd.DataFrame) -> dict[str, dict[str, list[str]]]:
    """Return, for treatments whose verdict changes, verdict -> choices that give it."""
    found: dict[str, dict[str, list[str]]] = {}
    for treatment, group in table.groupby("treatment", sort=False):
        by_verdict: dict[str, list[str]] = {}
        for label, verdict in zip(group["label"], group["verdict"], strict=True):
            by_verdict.setdefault(str(verdict), []).append(str(label))
        if len(by_verdict) > 1:
            found[str(treatment)] = by_verdict
    return found


def in_words(study: Study, measure: Measure, table: pd.DataFrame) -> list[str]:
    """Say for each treatment whether the verdict depends on a choice, and on which."""
    changing, said = depends(table), []
    for treatment, group in table.groupby("treatment", sort=False):
        name = study.treatment(str(treatment)).name
        reported = str(group["verdict"].iloc[0])
        others = {v: c for v, c in changing.get(str(treatment), {}).items() if v != reported}
        if not others:
            said.append(f"{measure.name}, {name}: {reported} under every one of the "
                        f"{len(group)} choices.")  # fmt: skip
            continue
        told = "; ".join(f"{verdict} ({', '.join(c)})" for verdict, c in others.items())
        said.append(
            f"{measure.name}, {name}: {reported} as reported, but the verdict depends on how one "
            f"looks: {told}."
        )
    return said
