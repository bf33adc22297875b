"""The tables of a site-season, each described once.

The pandera models here validate what people typed, give the header rows of empty sheets, and write
the column dictionary of the README. Numbers are float64 (an empty cell is NaN; checks see to it
that counts are whole), dates datetime64[ns], everything else text (an empty cell is missing).
"""

from functools import cache
from typing import Any, Final

import pandas as pd
import pandera.pandas as pa

from trialkit.columns import QUANTITY_OF_COLUMN, TABLES
from trialkit.study import Study
from trialkit.study.units import unit_label

Text = str
Number = float
Date = pa.DateTime


def _column(meaning: str, **rules: Any) -> Any:
    """Describe a column that must be filled; rows without a value are left out."""
    if_empty = rules.pop("if_empty", "error")
    unit = rules.pop("unit", "")
    return pa.Field(description=meaning, metadata={"if_empty": if_empty, "unit": unit}, **rules)


def _optional(meaning: str, **rules: Any) -> Any:
    """Describe a column whose cells may be empty."""
    return _column(meaning, nullable=True, if_empty="", **rules)


def _is_whole(numbers: "pd.Series[float]") -> "pd.Series[bool]":
    return numbers % 1 == 0


class Plots(pa.DataFrameModel):
    """a plot of the layout"""

    plot: Text = _column("label of the plot, unique within the site and season")
    block: Text = _column("block (replicate) that the plot stands in")
    treatment: Text = _column("id of the treatment, as in study.toml")
    row: Number | None = _optional("row of the plot on the map, counted from 1", ge=0)
    column: Number | None = _optional("column of the plot on the map, counted from 1", ge=0)
    plants: Number | None = _optional("number of plants in the plot", unit="plants", ge=0)
    area: Number | None = _optional("area of the plot", gt=0)
    lost: Text | None = _optional("why the plot was lost; empty for a plot that stands")

    @pa.check("row", "column", "plants", name="whole")
    @classmethod
    def _whole(cls, numbers: "pd.Series[float]") -> "pd.Series[bool]":
        return _is_whole(numbers)


class Scouting(pa.DataFrameModel):
    """a count on one plant or one plot on one date"""

    date: Date = _column("day of the visit")
    plot: Text = _column("label of the plot")
    plant: Text | None = _optional("number of the plant within the plot; empty for a whole plot")
    organism: Text = _column("id of what was counted, as in study.toml")
    stage: Text | None = _optional("life stage, as in study.toml")
    count: Number = _column("individuals counted; 0 if none", if_empty="note", ge=0)
    observer: Text | None = _optional("who counted")
    note: Text | None = _optional("anything worth telling")
    treatment: Text | None = _optional("treatment, for comparison with the layout")

    @pa.check("count", name="whole")
    @classmethod
    def _whole(cls, numbers: "pd.Series[float]") -> "pd.Series[bool]":
        return _is_whole(numbers)


class Ratings(pa.DataFrameModel):
    """a visual score of one plot on one date"""

    date: Date = _column("day of the visit")
    plot: Text = _column("label of the plot")
    what: Text = _column("id of the rating, as in study.toml")
    score: Number = _column("score, 0-10 or percent as in study.toml", if_empty="note")
    observer: Text | None = _optional("who scored")
    treatment: Text | None = _optional("treatment, for comparison with the layout")


class Harvest(pa.DataFrameModel):
    """one grade of one picking from one plot"""

    date: Date = _column("day of the picking")
    plot: Text = _column("label of the plot")
    grade: Text = _column("marketable or cull")
    cull_cause: Text | None = _optional("id of the cause of a cull, as in study.toml")
    fruit: Number = _column("number of fruit", if_empty="", nullable=True, ge=0, unit="fruit")
    weight: Number = _column("weight of these fruit together", if_empty="", nullable=True, ge=0)
    treatment: Text | None = _optional("treatment, for comparison with the layout")

    @pa.check("fruit", name="whole")
    @classmethod
    def _whole(cls, numbers: "pd.Series[float]") -> "pd.Series[bool]":
        return _is_whole(numbers)


class FruitSizes(pa.DataFrameModel):
    """one fruit that was measured"""

    date: Date = _column("day of the picking")
    plot: Text = _column("label of the plot")
    fruit: Text | None = _optional("number of the fruit within the picking")
    length: Number | None = _optional("length of the fruit", gt=0)
    diameter: Number | None = _optional("largest diameter of the fruit", gt=0)
    treatment: Text | None = _optional("treatment, for comparison with the layout")


class Events(pa.DataFrameModel):
    """something that happened"""

    date: Date = _column("day on which it happened")
    plot: Text | None = _optional("label of the plot; empty for the whole site")
    event: Text = _column("what happened, one of the events in study.toml")
    note: Text | None = _optional("anything worth telling")


class Weather(pa.DataFrameModel):
    """a day at the site"""

    date: Date = _column("day")
    tmin: Number = _column("lowest temperature of the day", if_empty="", nullable=True)
    tmax: Number = _column("highest temperature of the day", if_empty="", nullable=True)
    rain: Number = _column("rain of the day", if_empty="", nullable=True, ge=0)


class Costs(pa.DataFrameModel):
    """an input of a treatment"""

    treatment: Text = _column("id of the treatment, as in study.toml")
    item: Text = _column("what is bought or done")
    quantity: Number = _column("how much of it", ge=0)
    unit: Text = _column("unit of the quantity")
    price: Number = _column("price of one unit, in the study's currency", ge=0)
    lasts_seasons: Number | None = _optional("seasons of use; empty means 1", gt=0)


MODELS: Final[dict[str, type[pa.DataFrameModel]]] = {
    "plots": Plots,
    "scouting": Scouting,
    "ratings": Ratings,
    "harvest": Harvest,
    "fruit_sizes": FruitSizes,
    "events": Events,
    "weather": Weather,
    "costs": Costs,
}
# The treatment column of these tables is only a cross-check; empty sheets do without it.
CROSS_CHECK: Final = "treatment"
_SCHEMAS: Final = {table: model.to_schema() for table, model in MODELS.items()}


def schema(table: str) -> pa.DataFrameSchema:
    """Return the pandera schema of a table."""
    return _SCHEMAS[table]


def one_row_is(table: str) -> str:
    """Say in words what one row of a table is."""
    return (MODELS[table].__doc__ or "").strip()


@cache
def column_names(table: str) -> tuple[str, ...]:
    """Every column that a table knows, in order."""
    return tuple(schema(table).columns)


@cache
def required_columns(table: str) -> tuple[str, ...]:
    """Columns that a table cannot do without."""
    return tuple(name for name, column in schema(table).columns.items() if column.required)


@cache
def columns_of_type(table: str, kind: type) -> tuple[str, ...]:
    """Columns of a table that hold ``kind``: str, float or pandas.Timestamp."""
    return tuple(name for name in column_names(table) if type_of(table, name) is kind)


@cache
def type_of(table: str, name: str) -> type:
    """Return str, float or pandas.Timestamp, whichever the cells of a column are read into."""
    dtype = str(schema(table).columns[name].dtype)
    if dtype.startswith("datetime64"):
        return pd.Timestamp
    return float if dtype.startswith("float") else str


@cache
def if_empty(table: str, name: str) -> str:
    """Return the severity of an empty cell in a column, or an empty text where it may be empty."""
    return str((schema(table).columns[name].metadata or {}).get("if_empty", ""))


def blank_table_frame(table: str) -> pd.DataFrame:
    """Return a table without rows, all its columns in their types."""
    return _BLANK[table].copy()


def _blank(table: str) -> pd.DataFrame:
    dtypes = {float: "float64", pd.Timestamp: "datetime64[ns]", str: "str"}
    index = pd.Index([], dtype="int64")
    return pd.DataFrame(
        {
            name: pd.Series(index=index, dtype=dtypes[type_of(table, name)])
            for name in column_names(table)
        }
    )


def blank_tables(study: Study | None = None) -> dict[str, list[str]]:
    """Return the header row of every sheet of an empty site-season, and of costs.

    >>> blank_tables()["weather"]
    ['date', 'tmin', 'tmax', 'rain']
    """
    headers = {}
    for table in (*TABLES, "costs"):
        keep_all = table in ("plots", "costs")
        headers[table] = [n for n in column_names(table) if keep_all or n != CROSS_CHECK]
    return headers


def column_dictionary(study: Study | None = None) -> pd.DataFrame:
    """Return one row per column: table, column, type, unit, required, meaning.

    ``unit`` is the unit that people of ``study`` type (without a study: the SI units).
    """
    rows = [
        (
            table,
            name,
            {float: "number", pd.Timestamp: "date (2026-05-31)"}.get(type_of(table, name), "text"),
            _unit(table, name, study),
            name in required_columns(table),
            str(schema(table).columns[name].description),
        )
        for table in MODELS
        for name in column_names(table)
    ]
    return pd.DataFrame(rows, columns=["table", "column", "type", "unit", "required", "meaning"])


def _unit(table: str, name: str, study: Study | None) -> str:
    quantity = QUANTITY_OF_COLUMN.get((table, name))
    if quantity:
        return unit_label(quantity, study.units if study else "si")
    if name == "price":
        return study.currency if study else "currency"
    return str((schema(table).columns[name].metadata or {}).get("unit", ""))


_BLANK: Final = {table: _blank(table) for table in MODELS}
