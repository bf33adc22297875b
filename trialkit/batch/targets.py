"""The reports of a study: one for each site-season and one across them all."""

from dataclasses import dataclass
from pathlib import Path

from trialkit.columns import ACROSS
from trialkit.errors import TrialkitError
from trialkit.study import Study

SITE_SEASON_TEMPLATE = "site_season.ipynb"
ACROSS_TEMPLATE = "across_sites.ipynb"


@dataclass(frozen=True)
class Target:
    """A report to have: of one site-season, or (season and site None) of the whole study."""

    season: int | None
    site: str | None
    title: str

    @property
    def is_across(self) -> bool:
        """True for the report across all sites and seasons."""
        return self.season is None

    @property
    def key(self) -> str:
        """Place below the study's reports folder, such as ``2025/alder_bench`` or ``across``."""
        return ACROSS if self.is_across else f"{self.season}/{self.site}"

    @property
    def template(self) -> str:
        """File name of the notebook that makes this report."""
        return ACROSS_TEMPLATE if self.is_across else SITE_SEASON_TEMPLATE

    def folder(self, reports: Path) -> Path:
        """Folder of this report's files below the study's reports folder."""
        return reports / self.key


def across_of(study: Study) -> Target:
    """Return the report across all sites and seasons."""
    return Target(None, None, "Across all sites and seasons")


def targets_of(
    study: Study, season: int | None = None, site: str | None = None
) -> tuple[Target, ...]:
    """Return the site-season reports of a study, or those of one season, one site, or both.

    Raises TrialkitError when nothing of the study is meant.
    """
    _must_know("season", season, [item.year for item in study.seasons])
    _must_know("site", site, [item.id for item in study.sites])
    chosen = tuple(
        Target(year, place, f"{study.site(place).name} {year}")
        for year, place in study.site_seasons()
        if season in (None, year) and site in (None, place)
    )
    if not chosen:
        raise TrialkitError(
            f"Site '{site}' takes no part in season {season}. Choose another, or add the site to "
            "the season in study.toml."
        )
    return chosen


def chosen_targets(
    study: Study, season: int | None, site: str | None, across: bool
) -> tuple[Target, ...]:
    """Return the reports that a person means; all of them, where none is chosen."""
    if across:
        return (across_of(study),)
    own = targets_of(study, season, site)
    return own if season is not None or site is not None else (*own, across_of(study))


def _must_know(what: str, given: object, known: list) -> None:
    if given is not None and given not in known:
        listed = ", ".join(map(str, known))
        raise TrialkitError(f"The study has no {what} '{given}'. It has: {listed}.")
