"""How other people's sheets become tables: ``[intake.TABLE]`` in study.toml."""

from collections.abc import Iterator
from fnmatch import fnmatch
from typing import Literal

from pydantic import Field, model_validator

from trialkit.columns import QUANTITY_OF_COLUMN, TABLES
from trialkit.study.parts import Part
from trialkit.study.units import is_unit_of


class Spread(Part):
    """Columns side by side that hold one value a row each.

    ``headers`` is the column that their headers become (date, plant), ``cells`` the one that their
    cells become. Without ``columns`` they are those headed by a date, or, where headers do not
    become dates, those headed by a number.
    """

    headers: str
    cells: str
    columns: tuple[str, ...] = ()


class TableMapping(Part):
    """Where a table stands in the files of a site-season, and how it is read.

    ``files`` and ``sheets`` are names or patterns such as ``*.xlsx``. ``heading`` names the column
    that lines with a single entry ("Block 2") fill, down to the next such line; ``fill_down`` the
    columns in which an empty cell repeats the one above. ``units`` are units of columns as typed,
    by names such as lb, oz, g, degF, inch. ``values`` leads, column by column, from words as typed
    to the ids that they stand for.
    """

    files: tuple[str, ...] = ("*",)
    sheets: tuple[str, ...] = ()
    header_row: int | None = Field(default=None, ge=1)
    rename: dict[str, str] = Field(default_factory=dict)
    constant: dict[str, str] = Field(default_factory=dict)
    heading: str | None = None
    fill_down: tuple[str, ...] = ()
    spread: Spread | None = None
    units: dict[str, str] = Field(default_factory=dict)
    date_order: Literal["day_first", "month_first"] | None = None
    decimal_comma: bool = False
    missing_codes: tuple[str, ...] = ()
    values: dict[str, dict[str, str]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _says_where(self) -> "TableMapping":
        if self.files == ("*",) and not self.sheets:
            raise ValueError("say which files or which sheets hold the table")
        return self

    def is_of(self, file: str, sheet: str = "") -> bool:
        """Say whether the mapping is for a file (and, in a workbook, a sheet) of this name."""
        named = any(fnmatch(file.casefold(), pattern.casefold()) for pattern in self.files)
        if not sheet or not self.sheets:
            return named and not (self.sheets and not sheet)
        titled = any(fnmatch(sheet.casefold(), pattern.casefold()) for pattern in self.sheets)
        return named and titled


def mapping_problems(mappings: dict[str, TableMapping]) -> Iterator[str]:
    """Tables and units that are not known."""
    for table, mapping in mappings.items():
        if table not in TABLES:
            yield f"intake.{table} is no table; tables are {', '.join(TABLES)}"
        for column, unit in mapping.units.items():
            quantity = QUANTITY_OF_COLUMN.get((table, column))
            if quantity is None:
                yield f"intake.{table}.units names '{column}', which has no unit"
            elif not is_unit_of(unit, quantity):
                yield f"intake.{table}.units: '{unit}' is no unit of {quantity}"
