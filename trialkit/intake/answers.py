"""Questions that someone has answered on record fall silent; the answers are listed."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import pandas as pd

from trialkit.errors import Fault
from trialkit.intake.assemble import Checked
from trialkit.intake.context import Context
from trialkit.intake.corrections import Correction, Corrections, answered, as_frame
from trialkit.intake.site_season import SiteSeason
from trialkit.study import Study


def with_questions(
    one: SiteSeason, questions: Iterable[Fault], corrections: Corrections, study: Study
) -> SiteSeason:
    """Return the site-season with further questions, those that were answered on record listed."""
    answers = [line for line in corrections.lines if line.is_answer]
    start = f"{study.folder.as_posix()}/"
    open_ones, used = [], []
    for fault in questions:
        answer = answered(fault, fault.file.removeprefix(start), answers)
        if answer is None:
            open_ones.append(fault)
        else:
            used.append(answer)
    if not used:
        return replace(one, faults=(*one.faults, *open_ones))
    listed = pd.concat([one.corrections, as_frame(used)], ignore_index=True)
    return replace(one, faults=(*one.faults, *open_ones), corrections=listed)


def with_answers(one: SiteSeason, context: Context, checked: Checked) -> SiteSeason:
    """Return the site-season without the questions answered, with corrections and answers."""
    made = [line for table in checked.values() for line in table.corrections]
    told = (*one.faults, *context.corrections.faults, *_astray(one, context, checked))
    one = replace(one, faults=told)
    answers = [line for line in context.corrections.lines if line.is_answer]
    if not made and not answers:
        return one
    kept: list[Fault] = []
    used: dict[int, Correction] = {}
    for fault in one.faults:
        answer = answered(fault, from_study(fault.file, context), answers)
        if answer is None:
            kept.append(fault)
        else:
            used[answer.line] = answer
    return replace(one, faults=tuple(kept), corrections=as_frame([*made, *used.values()]))


def _astray(one: SiteSeason, context: Context, checked: Checked) -> Iterator[Fault]:
    """Corrections of files of this folder that nobody reads."""
    folder = context.study.data_folder(one.season, one.site).as_posix()
    here = f"{from_study(folder, context)}/"
    read = {path for table in checked.values() for path in table.typed.sheet.place.paths}
    for line in context.corrections.lines:
        if line.file.startswith(here) and line.file not in read:
            yield no_such_file(line, context.corrections.path, sorted(read))


def no_such_file(line: Correction, path: str, read: Iterable[str]) -> Fault:
    """Return the fault of a correction that points at no file that was read."""
    return Fault(
        path,
        line.line,
        "file",
        f"no file '{line.file}' was read, so nothing was corrected",
        f"Name it as it stands in the study folder: {', '.join(read)}",
        "correction",
        value=line.file,
    )


def from_study(file: str, context: Context) -> str:
    """Name a file of a fault as seen from the study folder."""
    start = f"{context.study.folder.as_posix()}/"
    return file.removeprefix(start)
