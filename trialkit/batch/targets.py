"""The reports of a study: one for each site-season, one across them all, and the final report."""

from dataclasses import dataclass
from pathlib import Path

from trialkit.columns import ACROSS
from trialkit.errors import TrialkitError
from trialkit.study import Study

SITE_SEASON_TEMPLATE = "site_season.ipynb"
ACROSS_TEMPLATE = "across_sites.ipynb"
FINAL_TEMPLATE = "final_report.ipynb"
FINAL = "final"


@dataclass(frozen=True)
class Target:
    """A report to have: of one site-season, or (season and site None) of the whole study.

    ``is_final`` tells the final report of the whole study from the one across all.
    """

    season: int | None
    site: str | None
    title: str
    is_final: bool = False

    @property
    def is_across(self) -> bool:
        """True for both reports on the whole study, which rest on the others and read no sheet."""
        return self.season is None

    @property
    def key(self) -> str:
        """Place below the study's reports folder: ``2025/alder_bench``, ``across``, ``final``."""
        if self.is_final:
            return FINAL
        return ACROSS if self.is_across else f"{self.season}/{self.site}"

    @property
    def template(self) -> str:
        """File name of the notebook that makes this report."""
        if self.is_final:
            return FINAL_TEMPLATE
        return ACROSS_TEMPLATE if self.is_across else SITE_SEASON_TEMPLATE

    def folder(self, reports: Path) -> Path:
        """Folder of this report's files below the study's reports folder."""
        return reports / self.key


def across_of(study: Study) -> Target:
    """Return the report across all sites and seasons."""
    return Target(None, None, "Across all sites and seasons")


def whole_study_of(study: Study) -> tuple[Target, ...]:
    """Return the reports on the whole study: final report, where one can be, and across all.

    A final report needs two site-seasons of finished seasons, so a new study does not wait for it.
    """
    finished = [year for year, _ in study.site_seasons() if study.season(year).finished]
    final = (Target(None, None, "Final report", is_final=True),) if len(finished) > 1 else ()
    return (*final, across_of(study))


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
        return whole_study_of(study)
    own = targets_of(study, season, site)
    return own if season is not None or site is not None else (*own, *whole_study_of(study))


def _must_know(what: str, given: object, known: list) -> None:
    if given is not None and given not in known:
        listed = ", ".join(map(str, known))
        raise TrialkitError(f"The study has no {what} '{given}'. It has: {listed}.")
