"""The tables of an archive: what was read of the field files, and what study.toml declares."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import pandas as pd

from trialkit.columns import TABLES
from trialkit.errors import Fault
from trialkit.intake.schemas import CROSS_CHECK, one_row_is
from trialkit.intake.study_intake import StudyIntake
from trialkit.publish.archive.declared import declared_tables
from trialkit.publish.archive.fields import Field, fields_of, text, whole
from trialkit.publish.archive.keys import Keys, true_keys
from trialkit.publish.coded_tables import PERSONAL
from trialkit.study import Study


@dataclass(frozen=True)
class Table:
    """A table of the archive: its name, what one row is, fields, rows, and the keys that hold."""

    name: str
    row_is: str
    fields: tuple[Field, ...]
    frame: pd.DataFrame
    keys: Keys = field(default_factory=Keys)

    def to_bytes(self) -> bytes:
        """Return the table as UTF-8 CSV in full precision; an empty cell is a missing value."""
        return self.frame.to_csv(index=False, lineterminator="\n").encode()


def archive_tables(study: Study, intake: StudyIntake, private: bool) -> tuple[Table, ...]:
    """Return every table that has rows: field data in SI units, declarations, what dropped out.

    Without ``private`` the tables have no observers and no notes.
    """
    found = [
        *declared_tables(study, private),
        *_field_tables(study, intake, private),
        ("left_out", "a row of a field sheet that is not in the tables", *_left_out(intake)),
        ("problems", "a problem that trialkit check tells of", *_problems(study, intake.faults)),
    ]
    tables = {
        name: Table(name, row_is, tuple(fields), typed(frame, fields))
        for name, row_is, fields, frame in found
        if len(frame)
    }
    frames = {name: table.frame for name, table in tables.items()}
    return tuple(replace(table, keys=true_keys(name, frames)) for name, table in tables.items())


def _field_tables(
    study: Study, intake: StudyIntake, private: bool
) -> Iterator[tuple[str, str, list[Field], pd.DataFrame]]:
    for table in (*TABLES, "costs"):
        hidden = set() if private else set(PERSONAL)
        hidden |= {CROSS_CHECK} if table not in ("plots", "costs") else set()
        fields = [one for one in fields_of(table, study) if one["name"] not in hidden]
        yield table, one_row_is(table), fields, _frame(table, intake)


def _frame(table: str, intake: StudyIntake) -> pd.DataFrame:
    if table == "costs":
        return intake.costs.table
    parts = [
        one.tables[table].assign(season=one.season, site=one.site)
        for one in intake.site_seasons
        if len(one.tables[table])
    ]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


_WRITERS: Final[Mapping[str, Any]] = {
    "integer": lambda column: column.astype("Int64"),
    "date": lambda column: column.dt.strftime("%Y-%m-%d"),
    "boolean": lambda column: column.map({True: "true", False: "false"}),
}


def typed(frame: pd.DataFrame, fields: Iterable[Field]) -> pd.DataFrame:
    """Return the columns of ``fields``, written as their types have it."""
    return pd.DataFrame(
        {
            one["name"]: _WRITERS.get(one["type"], lambda column: column)(frame[one["name"]])
            for one in fields
        }
    )


def _left_out(intake: StudyIntake) -> tuple[list[Field], pd.DataFrame]:
    fields = [
        whole("season", "year of the season", required=True),
        text("site", "id of the site", required=True),
        text("table", "table that the row belongs to", required=True),
        text("file", "file that the row stands in, below the folder study", required=True),
        whole("row", "row in that file, the header being row 1; 0 for the whole file"),
        text("plot", "plot of the row, where it names one"),
        text("date", "date of the row, as typed"),
        text("code", "short name of the rule"),
        text("reason", "why the row is left out"),
    ]
    return fields, intake.left_out


def _problems(study: Study, faults: Iterable[Fault]) -> tuple[list[Field], pd.DataFrame]:
    fields = [
        text("file", "file, below the folder study", required=True),
        whole("row", "row in that file, the header being row 1; 0 for the whole file"),
        text("column", "column, as the file heads it"),
        text("severity", "how much it weighs", enum=["error", "question", "note"]),
        text("code", "short name of the rule", required=True),
        text("what", "what is wrong", required=True),
        text("remedy", "what to do about it"),
    ]
    rows = [
        [
            *(within(study.folder, fault.file), fault.row, fault.column),
            *(fault.severity, fault.code),
            *(within(study.folder, fault.what), within(study.folder, fault.remedy)),
        ]
        for fault in faults
    ]
    return fields, pd.DataFrame(rows, columns=[one["name"] for one in fields])


def within(folder: Path, told: str) -> str:
    """Return a text with every path below ``folder`` told as seen from there."""
    return told.replace(f"{folder.as_posix()}/", "").replace(folder.as_posix(), "the study")
