"""The trials behind the combined answer: which take part, other protocols, corrections."""

from collections.abc import Mapping, Sequence
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
        return intake.read_all_handed_on(Path(reports), places)
    read = [intake.read_site_season(study, season, site) for season, site in places]
    return tuple(handed_on(study, data) for data in read if data.usable)


def site_seasons_table(study: Study, findings: AcrossFindings) -> Table:
    """One row per site-season: whether it takes part, and why it does not."""
    taking = [(place, _part(study, *place)) for place in findings.environments]
    missing = [(place, f"left out: {why}") for place, why in findings.left_out.items()]
    rows = [
        (study.site(site).name, season, said) for (season, site), said in sorted(taking + missing)
    ]
    heads = [Column("Site"), Column("Season"), Column("Combined answer")]
    return Table.of("Site-seasons", heads, rows)


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
    number = sum(found.values())
    hanging = {(one.season, one.site): len(verdicts_moved(one.moved)) for one in places}
    told = (
        f"{_counted(number, 'correction')} of the data {'is' if number == 1 else 'are'} on record: "
        f"{_by_place(study, found)}. The report of each place lists who made them and why."
    )
    total = sum(hanging.values())
    if not total:
        return Words(f"{told} Without them no verdict of a single site-season would be different.")
    return Words(
        f"{told} Without them {_counted(total, 'verdict')} of single site-seasons would be "
        f"different: {_by_place(study, hanging)}."
    )


def _by_place(study: Study, numbers: Mapping[tuple[int, str], int]) -> str:
    return ", ".join(
        f"{study.site(site).name} {season} ({number})"
        for (season, site), number in numbers.items()
        if number
    )


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
