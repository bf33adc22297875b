"""The trial as it was run: heading, layout, departures from the protocol, what was left out."""

from collections.abc import Sequence
from typing import Final

import pandas as pd

from trialkit import measures
from trialkit.errors import Fault, sentence
from trialkit.findings import Findings, standings
from trialkit.intake import SiteSeason
from trialkit.narrative.protocol_text import protocol_cautions
from trialkit.narrative.tables import Column, Table, Words, inert
from trialkit.report.display import LONGEST, Fold, Part, Stack, bullets, folded_if_long
from trialkit.report.weather import weather_words
from trialkit.study import Study
from trialkit.study.units import to_display, unit_label

SAID: Final = {"error": "left out", "question": "question", "note": "note"}
INVENTED: Final = (
    "**Invented data.** This example was made by a program; it describes no real trial."
)


def heading(study: Study, data: SiteSeason) -> str:
    """Title with place and season, the label of invented data, and a season still running."""
    site = study.site(data.site)
    lines = [f"# {study.title}", f"**{site.name} ({site.kind}), season {data.season}**"]
    lines += [INVENTED] if study.invented else []
    told = measures.last_complete(study, data.season, data.site, data.tables).words
    lines += [told] if told else []
    return "\n\n".join([*lines, study.summary.strip()])


def trial_as_run(
    study: Study, data: SiteSeason, values: pd.DataFrame, corrections: Sequence[Part] = ()
) -> Stack:
    """Layout, weather, protocol departures, corrections, what was left out or found wrong."""
    place = (study, data.season, data.site, data.tables)
    departures = measures.deviations(*place)
    return Stack(
        (
            Words(layout(study, data.tables["plots"])),
            weather_words(study, data),
            _departures(study, departures),
            *_decisions(study, data, departures),
            *corrections,
            _left_out_table(study, measures.left_out(values)),
            _notes_table(study, measures.notes(*place, data.left_out)),
            _faults_table(study, data),
        )
    )


def layout(study: Study, plots: pd.DataFrame) -> str:
    """Blocks, plots, plants and areas in a sentence or two, lost plots with their reasons."""
    blocks, treatments = plots["block"].nunique(), plots["treatment"].nunique()
    area = to_display(plots["area"].median(), "area", study.units)
    lines = [
        f"{treatments} treatments in {blocks} blocks: {len(plots)} plots. The middle plot has "
        f"{area:,.0f} {unit_label('area', study.units)} and {plots['plants'].median():g} plants."
    ]
    lost = plots[plots["lost"].notna() & (plots["lost"] != "")]
    for row in lost.to_dict("records"):
        name = study.treatment(row["treatment"]).name
        lines.append(f"Plot {row['plot']} ({name}) was lost: {inert(row['lost'])}.")
    return bullets(lines)


def _departures(study: Study, deviations: pd.DataFrame) -> Part:
    """Each departure from the protocol in a sentence: who, what was planned, what happened."""
    lines = [
        f"{study.treatment(row['treatment']).name if row['treatment'] else 'All plots'}. Planned: "
        f"{inert(row['planned'])}. Happened: {inert(row['happened'])}."
        for row in deviations.to_dict("records")
    ]
    if not lines:
        return Words("No departure from the protocol was found.")
    title = "Departures from the protocol"
    if len(lines) > LONGEST:
        return Fold(f"{title} ({len(lines)})", (Words(bullets(lines)),))
    return Words(f"**{title}**\n\n{bullets(lines)}")


def _decisions(study: Study, data: SiteSeason, departures: pd.DataFrame) -> tuple[Words, ...]:
    """What departures that make another protocol mean for the combined answer."""
    own = [
        one
        for one in standings(study, departures)
        if (one.season, one.site) == (data.season, data.site)
    ]
    return (Words(bullets(protocol_cautions(study, own))),) if own else ()


def _left_out_table(study: Study, left_out: pd.DataFrame) -> Table | Fold:
    table = _plot_table("Plot values left out of the analysis", "Reason", study, left_out)
    return _or_say(table, "No plot value was left out.")


def _notes_table(study: Study, notes: pd.DataFrame) -> Table | Fold:
    said = notes.rename(columns={"note": "reason"})
    table = _plot_table("What to know of values that were kept", "Note", study, said)
    return _or_say(table, "Nothing needs saying about the values that were kept.")


def _plot_table(caption: str, heading: str, study: Study, frame: pd.DataFrame) -> Table:
    """One row per reason and measures; the plots that share both are listed together."""
    by_plot = frame.groupby(["plot", "reason"], sort=True)["measure"].agg(tuple).reset_index()
    alike = by_plot.groupby(["reason", "measure"], sort=False)["plot"].agg(list).reset_index()
    rows = [
        (", ".join(row["plot"]), row["reason"], _measure_names(study, list(row["measure"])))
        for row in alike.to_dict("records")
    ]
    return Table.of(caption, [Column(text) for text in ("Plots", heading, "Measures")], rows)


def _measure_names(study: Study, measures_named: list[str]) -> str:
    if "" in measures_named or len(set(measures_named)) == len(study.measures):
        return "all measures"
    return ", ".join(study.measure(name).name for name in measures_named)


def _faults_table(study: Study, data: SiteSeason) -> Table | Fold:
    rows = [
        (_place(study, fault), fault.column, sentence(fault.what), SAID[fault.severity])
        for fault in data.faults
    ]
    heads = [Column(text) for text in ("Place", "Column", "What was found", "Kind")]
    return _or_say(
        Table.of("Faults and questions in the data files", heads, rows),
        "No fault was found in the data files.",
    )


def _place(study: Study, fault: Fault) -> str:
    """File within the study folder, and the row where it is one row."""
    file = fault.file.removeprefix(f"{study.folder.as_posix()}/")
    return f"{file}, row {fault.row}" if fault.row else file


def unanswered(study: Study, findings: Findings) -> Words:
    """Measures that could not be analysed, each with its reason."""
    if not findings.unanswered:
        return Words("Every declared measure could be analysed.")
    lines = [
        f"**{study.measure(name).name}** could not be analysed: {reason}"
        for name, reason in findings.unanswered.items()
    ]
    return Words(bullets(lines))


def _or_say(table: Table, empty: str) -> Table | Fold:
    return folded_if_long(Table(table.caption, table.columns, table.rows, empty))
