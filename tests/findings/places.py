"""Site-seasons with a known answer: three sites, two seasons, five treatments."""

from collections.abc import Sequence

from tests.findings.conftest import values_of
from trialkit.findings import Environment, site_season_findings
from trialkit.study import Study

PLACES = tuple(
    (season, site)
    for season in (2024, 2025)
    for site in ("alder_bench", "brook_terrace", "cedar_flat")
)
YIELDS = (2.0, 3.2, 2.05, 1.3, 2.4)


def environments_of(
    study: Study, measure: str = "marketable_yield", means: Sequence[float] = YIELDS
) -> list[Environment]:
    """One environment a place; the level differs between places, the effects hardly do."""
    found = []
    for number, (season, site) in enumerate(PLACES):
        shifted = [mean * (1 + 0.1 * number) for mean in means]
        values = values_of(
            measure, shifted, season=season, site=site, noise=0.08, seed=number, blocks=3
        )
        found.append(Environment(season, site, values, site_season_findings(study, values).effects))
    return found
