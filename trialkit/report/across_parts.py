"""The trials behind the combined answer: which take part, other protocols, corrections."""

from collections.abc import Sequence
from pathlib import Path

from trialkit import intake, measures
from trialkit.columns import DEVIATIONS
from trialkit.findings import (
    AcrossFindings,
    Standing,
    site_season_findings,
    standings,
    verdicts_moved,
)
from trialkit.findings.decisions import excluded_treatments
from trialkit.findings.site_season import stacked
from trialkit.intake import HandedOn, SiteSeason
from trialkit.narrative.phrases import listed
from trialkit.narrative.tables import Column, Table, Words
from trialkit.report.background import background_of
from trialkit.report.corrections import corrections_by_place, undone
from trialkit.study import Study


def handed_on(study: Study, data: SiteSeason) -> HandedOn:
    """Work out from the field files what a finished report would hand on."""
    place = (study, data.season, data.site, data.tables)
    values = measures.plot_values(*place, data.left_out)
    effects = site_season_findings(study, values).effects
    typed = undone(study, data, values, effects)
    return HandedOn(
        season=data.season,
        site=data.site,
        values=values,
        effects=effects,
        departures=measures.deviations(*place),
        moved=typed.moved,
        files=data.files,
        background=background_of(study, data, typed),
        as_typed=typed.as_typed,
    )


def taking_part(study: Study, reports: str | Path = "") -> tuple[HandedOn, ...]:
    """What every site-season that can be used hands on.

    ``reports`` is the folder of the study's finished reports; empty, field files are read.
    """
    places = study.site_seasons()
    if reports:
        found = [intake.read_handed_on(Path(reports), season, site) for season, site in places]
        return tuple(one for one in found if one is not None)
    read = [intake.read_site_season(study, season, site) for season, site in places]
    return tuple(handed_on(study, data) for data in read if data.usable)


def site_seasons_table(study: Study, findings: AcrossFindings) -> Table:
    """One row per site-season: does it take part, and how many corrections it has on record."""
    corrections = corrections_by_place(study)
    taking = [(place, _part(study, *place)) for place in findings.environments]
    missing = [(place, f"left out: {why}") for place, why in findings.left_out.items()]
    rows = [
        (study.site(site).name, season, said, corrections.get((season, site), 0))
        for (season, site), said in sorted(taking + missing)
    ]
    heads = [Column("Site"), Column("Season"), Column("Combined answer")]
    return Table.of("Site-seasons", [*heads, Column("Corrections", numeric=True)], rows)


def _part(study: Study, season: int, site: str) -> str:
    """Takes part, with all treatments or without some."""
    out = [study.treatment(name).label for name in excluded_treatments(study, season, site)]
    return f"takes part without {listed(out)}" if out else "takes part"


def protocol_standings(study: Study, places: Sequence[HandedOn]) -> tuple[Standing, ...]:
    """Every treatment that followed another protocol somewhere, and what was decided on it."""
    return standings(study, stacked([one.departures for one in places], DEVIATIONS))


def corrections_words(study: Study, places: Sequence[HandedOn]) -> Words:
    """How many corrections are on record, where, and how many verdicts there hang on them."""
    found = corrections_by_place(study)
    if not found:
        return Words("No correction of the data is on record.")
    hanging = {
        f"{study.site(one.site).name} {one.season}": len(verdicts_moved(one.moved))
        for one in places
    }
    where = [f"{name} ({number})" for name, number in hanging.items() if number]
    number = sum(found.values())
    lines = [
        f"{_counted(number, 'correction')} of the data {'is' if number == 1 else 'are'} on record, "
        f"in {_counted(len(found), 'site-season')}; the report of each lists who made them and why."
    ]
    if where:
        total = sum(hanging.values())
        lines.append(
            f"Without them {_counted(total, 'verdict')} of single site-seasons would be "
            f"different: {', '.join(where)}."
        )
    else:
        lines.append("Without them no verdict of a single site-season would be different.")
    return Words(" ".join(lines))


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
