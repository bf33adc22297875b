"""Corrections on record: who changed what and why, and what the findings would be without them."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any, Final

import pandas as pd

from trialkit import intake, measures
from trialkit.columns import MOVED
from trialkit.findings import moved_by_corrections, verdicts_moved, without_answer
from trialkit.intake import SiteSeason
from trialkit.narrative.moved_text import moved_cautions, moved_table
from trialkit.narrative.phrases import capital, listed, lower_first
from trialkit.narrative.tables import Words, inert
from trialkit.report.display import LONGEST, Fold, Part, bullets, folded_if_long
from trialkit.study import Study

SEEN: Final = "seen, correct"


@dataclass(frozen=True)
class Undone:
    """Corrections and answers of a site-season, and what the corrections moved (columns MOVED).

    ``as_typed`` are the plot values without corrections, None where that is not known.
    """

    made: pd.DataFrame
    answers: pd.DataFrame
    moved: pd.DataFrame
    unusable: str = ""
    as_typed: pd.DataFrame | None = None

    def cautions(self, study: Study) -> tuple[str, ...]:
        """What a reader must know: verdicts that hang on corrections."""
        if self.unusable:
            told = "Without its corrections this site-season could not be analysed"
            return (f"{told}: {inert(self.unusable)}.",)
        return tuple(moved_cautions(study, self.moved))

    def shown(self, study: Study) -> tuple[Part, ...]:
        """Corrections, what they moved, and questions that somebody answered."""
        if self.made.empty and self.answers.empty:
            return (Words("No correction of the data is on record."),)
        parts: list[Part] = []
        if len(self.made):
            parts += [_corrections(self.made), Words(self._in_short(study))]
            parts += [] if self.moved.empty else [folded_if_long(moved_table(study, self.moved))]
        if len(self.answers):
            parts.append(_answers(self.answers))
        return tuple(parts)

    def _in_short(self, study: Study) -> str:
        if self.unusable:
            return "\n".join(self.cautions(study))
        if self.moved.empty:
            return "No contrast would be different without them."
        names = dict.fromkeys(study.measure(name).name for name in self.moved["measure"])
        hanging = len(verdicts_moved(self.moved))
        number = {0: "no verdict", 1: "1 verdict"}.get(hanging, f"{hanging} verdicts")
        moved = listed([lower_first(name) for name in names])
        return f"They moved {moved}; {number} would be different without them."


def undone(study: Study, data: SiteSeason, values: pd.DataFrame, effects: pd.DataFrame) -> Undone:
    """Read a site-season again as it was typed, and analyse again what its corrections touched."""
    is_answer = data.corrections["now"].astype("str").str.casefold() == SEEN
    made, answers = data.corrections[~is_answer], data.corrections[is_answer]
    if made.empty:
        return Undone(made, answers, pd.DataFrame(columns=list(MOVED)))
    typed = intake.read_site_season(study, data.season, data.site, as_typed=True)
    if not typed.usable:
        return Undone(made, answers, without_answer(study, effects), typed.unusable)
    place = (data.season, data.site, typed.tables, typed.left_out)
    as_typed = measures.plot_values(study, *place)
    moved = moved_by_corrections(study, effects, values, as_typed)
    return Undone(made, answers, moved, as_typed=as_typed)


def corrections_by_place(study: Study) -> dict[tuple[int, str], int]:
    """Number of corrections on record of each site-season that has any."""
    lines = [line for line in intake.read_corrections(study).lines if not line.is_answer]
    folders = [PurePosixPath(line.file).parent for line in lines]
    counts = {
        place: folders.count(PurePosixPath(study.data_folder(*place).relative_to(study.folder)))
        for place in study.site_seasons()
    }
    return {place: number for place, number in counts.items() if number}


def _corrections(made: pd.DataFrame) -> Part:
    lines = [
        f"{_place(row)}, {inert(row['column'])}: {_cell(row['was'])} is read as "
        f"{_cell(row['now'])}{_signed(row)}"
        for row in made.to_dict("records")
    ]
    return _listed("Corrections on record", lines)


def _answers(answers: pd.DataFrame) -> Part:
    lines = [
        f"{_place(row)}, {inert(row['column'])}: {_cell(row['was'])} is right{_signed(row)}"
        for row in answers.to_dict("records")
    ]
    return _listed("Questions about the data that were answered", lines)


def _listed(title: str, lines: list[str]) -> Part:
    """Lines under a title, folded away where there are too many."""
    if len(lines) > LONGEST:
        return Fold(f"{title} ({len(lines)})", (Words(bullets(lines)),))
    return Words(f"**{title}**\n\n{bullets(lines)}")


def _place(row: Mapping[Any, Any]) -> str:
    """File or sheet within the site-season's folder, and the row."""
    name = inert(PurePosixPath(row["file"]).name)
    return f"{name}, row {row['row']}" if row["row"] else name


def _cell(text: str) -> str:
    return f"\u201c{inert(text)}\u201d" if text else "an empty cell"


def _signed(row: Mapping[Any, Any]) -> str:
    return f". {capital(inert(row['why']))} ({inert(row['who'])}, {inert(row['when'])})."
