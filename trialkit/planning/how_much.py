"""How much is enough, for every measure that decides: sizes, costs and power from assumptions.

What study.toml states goes first, then what the study's own data gave, then a rule of thumb, and
the table says which of them it was.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from trialkit.planning.cheapest import Prices, compare, sizes
from trialkit.planning.power import (
    Components,
    TrialSize,
    power_of_difference,
    smallest_detectable,
    too_few,
)
from trialkit.planning.power_simulated import Response, simulated_power
from trialkit.study import Assumption, Measure, Study

RULE_OF_THUMB: Final = "rule of thumb: value from memory, no source"
TRIALS: Final = 400  # simulated trials a size; the standard error of a power of 0.8 is 0.02


@dataclass(frozen=True)
class Enough:
    """The answer for one measure: sizes tried, cheapest first, and the assumptions behind them."""

    measure: Measure
    assumption: Assumption
    table: pd.DataFrame

    @property
    def cheapest(self) -> "pd.Series | None":
        """The cheapest size that reaches the power, None where none in reach does."""
        enough = self.table[self.table["power"] >= self.assumption.power]
        return None if enough.empty else enough.iloc[0]

    def sentence(self, currency: str) -> str:
        """The answer in a sentence."""
        asked = (
            f"{self.measure.name}: to find a change of {self.assumption.difference:g} % with "
            f"{percent(self.assumption.power)} power"
        )
        best = self.cheapest
        if best is None:
            return f"{asked}, no layout in reach is enough (the best has {percent(self._best())})."
        alone = best["sites"] * best["seasons"] == 1
        caution = " That settles it for one place and season only." if alone else ""
        warning = f" {best['warning']}" if best["warning"] else ""
        cost = f" ({best['cost']:,.0f} {currency})" if best["cost"] > 0 else ""
        size = f"{best['blocks']} blocks at {_number(best['sites'], 'site')}"
        seasons = _number(best["seasons"], "season")
        return (
            f"{asked}, the cheapest layout has {size} in {seasons}{cost}; "
            f"power {percent(best['power'])}.{caution}{warning}"
        )

    def _best(self) -> float:
        return float(self.table["power"].max())


def _number(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def percent(power: float) -> str:
    """A power in whole percent, rounded down, so that 80 % is never claimed for 79.8 %."""
    return f"{math.floor(100 * power + 1e-9)} %"


def how_much(study: Study, found: Mapping[str, Assumption] | None = None) -> tuple[Enough, ...]:
    """Answer for every primary measure; ``found`` holds assumptions from the study's own data."""
    measures = [measure for measure in study.measures if measure.primary] or study.measures[:1]
    return tuple(_enough(study, one, assumption_of(study, one, found or {})) for one in measures)


def assumption_of(study: Study, measure: Measure, found: Mapping[str, Assumption]) -> Assumption:
    """Assumption of a measure: typed in, else found in the data, else a rule of thumb."""
    typed = [item for item in study.layout.assumptions if item.measure == measure.id]
    return (typed or [found.get(measure.id) or rule_of_thumb(measure)])[0]


def rule_of_thumb(measure: Measure) -> Assumption:
    """What is taken for a measure of which nobody knows anything."""
    values: dict[str, dict[str, float]] = {
        "count": {"check_mean": 40, "overdispersion": 8, "environment_sd": 15},
        "proportion": {"check_mean": 20, "trials": 80, "overdispersion": 0.02},
    }
    usual = {"plot_sd": 15.0, "environment_sd": 5.0}
    return Assumption(
        measure=measure.id,
        source=RULE_OF_THUMB,
        **values.get(measure.family, usual),  # type: ignore[arg-type]
    )


def _enough(study: Study, measure: Measure, assumed: Assumption) -> Enough:
    costs, tried = study.layout.costs, sizes_in_reach(study)
    prices, alpha = Prices(costs.plot, costs.site, costs.season), per_contrast(study)
    if measure.family not in ("count", "proportion"):
        return Enough(measure, assumed, _normal(assumed, tried, prices, alpha))
    filled = _filled(measure, assumed)
    if study.layout.design == "split_plot":
        return Enough(measure, filled, _normal(_on_logs(measure, filled), tried, prices, alpha))
    return Enough(measure, filled, _simulated(measure, filled, tried, prices, alpha))


def sizes_in_reach(study: Study) -> list[TrialSize]:
    """Every size of trial of the study's design that ``layout.reach`` allows."""
    layout, treatments = study.layout, len(study.treatments)
    blocks = range(2, layout.reach.blocks + 1)
    if layout.design == "latin_square":
        blocks = range(treatments, treatments + 1)
    sites, seasons = range(1, layout.reach.sites + 1), range(1, layout.reach.seasons + 1)
    levels = max(1, len(layout.whole_plots))
    return [
        replace(size, design=layout.design, whole_plots=levels)
        for size in sizes(treatments, blocks, sites, seasons)
    ]


def layout_cautions(study: Study) -> tuple[str, ...]:
    """What is thin in the layout that study.toml asks for, site by site where they differ."""
    found: dict[str, list[str]] = {}
    for site in study.sites:
        size = TrialSize(
            len(study.treatments),
            study.layout.blocks_of(site.id),
            design=study.layout.design,
            whole_plots=max(1, len(study.layout.whole_plots)),
        )
        found.setdefault(_thin(size), []).append(site.name)
    every = len(study.sites)
    return tuple(
        text if len(names) == every else f"{', '.join(names)}: {text}"
        for text, names in found.items()
        if text
    )


def _thin(size: TrialSize) -> str:
    if size.blocks < 2 and size.design != "latin_square":
        return "With one replicate (layout.blocks) nothing can be judged at this site by itself."
    return too_few(size)


def _on_logs(measure: Measure, assumed: Assumption) -> Assumption:
    """Counts of a split plot on the scale of their logarithms (shares: log odds), as if normal.

    The variance of a logarithm is about 1 / mean + 1 / k, that of log odds
    (1 + (n - 1) rho) / (n p (1 - p)).
    """
    mean, spread = assumed.check_mean or 0.0, assumed.overdispersion or 0.0
    if measure.family == "count":
        variance = 1 / mean + 1 / spread
    else:
        trials, share = assumed.trials or 1, mean / 100
        variance = (1 + (trials - 1) * spread) / (trials * share * (1 - share))
    change = -100 * math.log(1 - assumed.difference / 100)
    # A change on the logarithm may be more than 100 %, which an entry of study.toml may not.
    return assumed.model_copy(update={"plot_sd": 100 * math.sqrt(variance), "difference": change})


def per_contrast(study: Study) -> float:
    """Error rate of one contrast, so that all against the check together keep the study's level.

    Sidak (1967, JASA 62:626): 1 - level^(1 / contrasts); Dunnett's, which reports use, is a little
    kinder, so the power is a little better than said.
    """
    return float(1 - study.level ** (1 / (len(study.treatments) - 1)))


def _normal(
    assumed: Assumption, tried: list[TrialSize], prices: Prices, alpha: float
) -> pd.DataFrame:
    parts = Components(
        plot=assumed.plot_sd or 15.0,
        treatment_environment=assumed.environment_sd,
        treatment_site=assumed.site_sd,
        treatment_season=assumed.season_sd,
        source=assumed.source,
        whole_plot=assumed.whole_plot_sd,
    )
    apart = assumed.site_sd > 0 or assumed.season_sd > 0
    able = [s for s in tried if not apart or s.environments == 1 or min(s.sites, s.seasons) > 1]
    return compare(
        able,
        prices,
        lambda size: power_of_difference(assumed.difference, parts, size, alpha),
        lambda size: smallest_detectable(parts, size, assumed.power, alpha),
    )


def _simulated(
    measure: Measure, assumed: Assumption, tried: list[TrialSize], prices: Prices, alpha: float
) -> pd.DataFrame:
    count = measure.family == "count"
    response = Response(
        "count" if count else "proportion",
        check=(assumed.check_mean or 0) / (1 if count else 100),
        overdispersion=assumed.overdispersion or 0,
        trials=assumed.trials or 0,
        block_sd=0.2,
        environment_sd=assumed.environment_sd / 100,
    )
    ratio = 1 - assumed.difference / 100
    return compare(
        tried,
        prices,
        lambda size: simulated_power(response, ratio, size, trials=TRIALS, alpha=alpha),
        stop_at=assumed.power,
    )


def _filled(measure: Measure, assumed: Assumption) -> Assumption:
    """Fill what an assumption leaves out with the rule of thumb, and say so in its source."""
    usual = rule_of_thumb(measure)
    names = ("check_mean", "overdispersion", "trials")
    missing = {
        name: getattr(usual, name)
        for name in names
        if getattr(assumed, name) is None and getattr(usual, name) is not None
    }
    if not missing:
        return assumed
    words = ", ".join(f"{name} = {value:g}" for name, value in missing.items())
    source = assumed.source
    if source != RULE_OF_THUMB:
        source = f"{source}; {words} by {RULE_OF_THUMB}"
    return assumed.model_copy(update={**missing, "source": source})
