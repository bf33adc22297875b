"""Not settled, and what would settle it: more site-seasons, with what chance and at what cost."""

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.findings.effect_table import records
from trialkit.findings.spread import variance_between
from trialkit.inference import Analysis
from trialkit.inference.more_needed import chance_settled, more_needed
from trialkit.study import Measure, Study

NEEDED: Final = (
    "measure", "treatment", "site_seasons", "how", "blocks", "more", "seasons", "chance", "cost",
)  # fmt: skip
MOST: Final = 60
CHANCE: Final = 0.8
ASSUMED: Final = (
    "Assumed: further site-seasons are like those so far, and the true effect lies around today's "
    "estimate as its standard error says. No allowance is made for comparing several treatments, "
    "so the numbers are on the low side. Where treatments answer a place alike every season, "
    "further seasons help less at the same places than at new ones."
)


@dataclass(frozen=True)
class Way:
    """A way to go on: its name, blocks at a site and the precision of a site-season that gives."""

    how: str
    blocks: int
    precision: float


def still_needed(
    study: Study, measure: Measure, effects: pd.DataFrame, analysis: Analysis, environments: int
) -> pd.DataFrame:
    """Return, for each contrast of a measure that is not settled, what would settle it (NEEDED).

    ``effects`` are the EFFECTS over ``environments`` site-seasons that ``analysis`` gave. ``more``
    site-seasons settle it with ``chance`` (at least 80 %), which takes ``seasons`` at as many
    sites as the study has; ``more`` is empty where even 60 would not. ``cost`` is in the study's
    currency, empty where study.toml gives no costs of the trial.
    """
    open_ones = effects[(effects["measure"] == measure.id) & (effects["verdict"] == "not settled")]
    rows = []
    for row in records(open_ones):
        for way in ways(study, analysis):
            found = _row(study, row, margin_on_model(row, analysis), way, environments)
            rows.append(found)
    table = pd.DataFrame(rows, columns=list(NEEDED))
    return table.astype({"more": "Int64", "seasons": "Int64"})


def ways(study: Study, analysis: Analysis) -> tuple[Way, ...]:
    """As so far, and with twice the blocks where the fit shows what plots contribute.

    With components of treatment x environment v and of plots s², r blocks give a site-season the
    variance 2 (v + s² / r); the precision of R blocks is that variance over the one with R.
    """
    blocks = study.layout.blocks
    same = Way("as so far", blocks, 1.0)
    parts = analysis.model.components
    if "residual" not in parts:
        return (same,)
    between, plots = variance_between(analysis), parts["residual"]
    precision = (between + plots / blocks) / (between + plots / (2 * blocks))
    return (same, Way("twice the blocks", 2 * blocks, float(precision)))


def margin_on_model(row: dict[str, Any], analysis: Analysis) -> float:
    """Margin of a row of EFFECTS on the scale of its model; of ratios the nearer of both limits."""
    margin, unit, link = float(row["margin"]), row["effect_unit"], analysis.model.means.link
    check = float(analysis.means.set_index("treatment")["mean"][row["versus"]])
    if unit == "percent" and link == "log":
        return math.log1p(margin / 100)
    if unit == "percent":
        return margin / 100 * check
    if unit == "points" and link == "logit":
        return margin / 100 / (check * (1 - check))
    return margin


def _row(
    study: Study, row: dict[str, Any], margin: float, way: Way, environments: int
) -> dict[str, Any]:
    found: dict[str, Any] = {
        "measure": row["measure"],
        "treatment": row["treatment"],
        "site_seasons": environments,
        "how": way.how,
        "blocks": way.blocks,
        "more": pd.NA,
        "seasons": pd.NA,
        "chance": np.nan,
        "cost": np.nan,
    }
    try:
        table = chance_settled(
            float(row["estimate"]),
            float(row["se"]),
            environments,
            margin,
            treatments=len(study.treatments),
            most=MOST,
            level=study.level,
            precision=way.precision,
        )
    except AnalysisError:
        return found
    # One more at least: the report's own interval, which is the wider one, has not settled it.
    more = more_needed(table[table["more"] > 0], CHANCE)
    if more is None:
        return found | {"chance": float(table["chance"].iloc[-1])}
    seasons = math.ceil(more / len(study.sites))
    return found | {
        "more": more,
        "seasons": seasons,
        "chance": float(table.loc[table["more"] == more, "chance"].iloc[0]),
        "cost": cost_of(study, more, way.blocks),
    }


def cost_of(study: Study, site_seasons: int, blocks: int) -> float:
    """Cost of so many more site-seasons, NaN where study.toml states no cost of the trial."""
    costs = study.layout.costs
    if costs.plot == costs.site == costs.season == 0:
        return float("nan")
    plots = blocks * len(study.treatments)
    seasons = math.ceil(site_seasons / len(study.sites))
    return float(site_seasons * (costs.site + plots * costs.plot) + seasons * costs.season)


def in_words(study: Study, row: dict[str, Any]) -> str:
    """Say one row of :func:`still_needed` in a sentence."""
    name, measure = study.treatment(row["treatment"]).name, study.measure(row["measure"]).name
    head = f"{measure}, {name} ({row['how']}, {row['blocks']} blocks)"
    if math.isnan(row["chance"]):
        return f"{head}: the data so far do not say how much more is needed."
    if pd.isna(row["more"]):
        return (
            f"{head}: even {MOST} more site-seasons would settle it with a chance of only "
            f"{100 * row['chance']:.0f} %."
        )
    cost = "" if math.isnan(row["cost"]) else f", for about {row['cost']:,.0f} {study.currency}"
    return (
        f"{head}: {row['more']} more site-seasons ({row['seasons']} "
        f"{'season' if row['seasons'] == 1 else 'seasons'} at {len(study.sites)} sites) settle it "
        f"with a chance of {100 * row['chance']:.0f} %{cost}."
    )
