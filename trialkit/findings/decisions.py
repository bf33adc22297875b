"""Sites that followed another protocol: which they are, and what was decided about each."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from trialkit.columns import DEVIATIONS
from trialkit.findings.environment import Environment
from trialkit.study import Study

Place = tuple[int, str, str]
EXCLUDED: Final = "excluded: "


def other_protocol(study: Study, departures: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of DEVIATIONS that make another protocol: something done otherwise or never.

    A late visit is none; it makes the data coarser, and the treatment stays the same.
    """
    timed = {rule.id for rule in study.protocol if rule.event is not None}
    rows = departures[departures["rule"].isin(timed)]
    return rows[list(DEVIATIONS)].reset_index(drop=True)


@dataclass(frozen=True)
class Standing:
    """One treatment at one site-season (treatment "": every plot) and what was decided on it.

    ``decision`` is "exclude", "keep" or empty; ``rules`` names the rules that were departed from,
    and is empty for a decision on something that no rule speaks of.
    """

    season: int
    site: str
    treatment: str
    rules: tuple[str, ...]
    decision: str
    reason: str


def standings(study: Study, departures: pd.DataFrame) -> tuple[Standing, ...]:
    """Return every departure that makes another protocol, and every decision on anything else."""
    rows = other_protocol(study, departures)
    found: dict[Place, list[str]] = {}
    for row in rows.to_dict("records"):
        place = (int(row["season"]), str(row["site"]), str(row["treatment"]))
        found.setdefault(place, []).append(str(row["rule"]))
    told = [_standing(study, place, tuple(dict.fromkeys(r))) for place, r in found.items()]
    used = {study.decision_on(*place) for place in found}
    more = [d for d in study.protocol_decisions if d not in used]
    told += [_standing(study, (d.season, d.site, d.treatment), ()) for d in more]
    return tuple(sorted(told, key=lambda one: (one.season, one.site, one.treatment)))


def as_decided(study: Study, environments: Sequence[Environment]) -> list[Environment]:
    """Return the site-seasons that stay, without the treatments that are excluded there.

    Plot values of an excluded treatment stay on record, with the reason why they are left out.
    """
    return [
        _without_excluded(study, item)
        for item in environments
        if not _excluded(study, item.season, item.site)
    ]


def exclusion(study: Study, season: int, site: str) -> str:
    """Return why a whole site-season is out of the combined answer, empty where it is not."""
    return EXCLUDED + _excluded(study, season, site) if _excluded(study, season, site) else ""


def excluded_treatments(study: Study, season: int, site: str) -> dict[str, str]:
    """Return treatment -> reason of those taken out of one site-season."""
    decided = [d for d in study.protocol_decisions if (d.season, d.site) == (season, site)]
    return {d.treatment: d.reason for d in decided if d.treatment and d.decision == "exclude"}


def without_excluded(study: Study, effects: pd.DataFrame) -> pd.DataFrame:
    """Return rows of EFFECTS of single site-seasons, those of excluded treatments left out."""
    out = {
        (d.season, d.site, d.treatment) for d in study.protocol_decisions if d.decision == "exclude"
    }
    keys = zip(effects["season"], effects["site"], effects["treatment"], strict=True)
    whole = zip(effects["season"], effects["site"], strict=True)
    kept = [
        key not in out and (*place, "") not in out for key, place in zip(keys, whole, strict=True)
    ]
    return effects[kept]


def _standing(study: Study, place: Place, rules: tuple[str, ...]) -> Standing:
    decided = study.decision_on(*place)
    if decided is None:
        return Standing(*place, rules, "", "")
    return Standing(*place, rules, decided.decision, decided.reason)


def _excluded(study: Study, season: int, site: str) -> str:
    decided = study.decision_on(season, site)
    return decided.reason if decided and decided.decision == "exclude" else ""


def _without_excluded(study: Study, item: Environment) -> Environment:
    reasons = excluded_treatments(study, item.season, item.site)
    if not reasons:
        return item
    out = item.values["treatment"].map(reasons)
    values = item.values.assign(
        left_out=item.values["left_out"].where(out.isna(), EXCLUDED + out.fillna(""))
    )
    return replace(item, values=values)
