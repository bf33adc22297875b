"""What the drafted tables hold, as a study must declare it: treatments, organisms, dates, plots."""

import datetime as dt
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from trialkit.intake.dates import read_dates
from trialkit.intake.draft.words import grade_of, identifier, is_untreated

Tables = Mapping[str, pd.DataFrame]
_IDS: Final = {
    "treatment": "treatment",
    "organism": "insect",
    "what": "rating",
    "cull_cause": "cause",
    "event": "event",
}


@dataclass(frozen=True)
class Named:
    """A word as typed in the sheets, and the id that stands for it in study.toml."""

    word: str
    id: str


def words_of(tables: Tables, column: str) -> list[Named]:
    """Return the different words of a column over all tables, each with its own id."""
    found = [str(w) for t in tables.values() if column in t for w in t[column].dropna().unique()]
    named: dict[str, Named] = {}
    for word in dict.fromkeys(found):
        one = identifier(word, _IDS[column])
        named.setdefault(one, Named(word, one))
    return list(named.values())


def values_of(tidy: pd.DataFrame) -> dict[str, dict[str, str]]:
    """Return, column by column, the words that are not the id that they stand for."""
    told: dict[str, dict[str, str]] = {}
    for column in (*_IDS, "grade"):
        if column in tidy:
            to_id = grade_of if column == "grade" else _identifier_in(column)
            words = [str(word) for word in tidy[column].dropna().unique()]
            differing = {word: found for word in words if (found := to_id(word)) not in ("", word)}
            told |= {column: differing} if differing else {}
    return told


def _identifier_in(column: str) -> Callable[[str], str]:
    return lambda word: identifier(word, _IDS[column])


def untreated(treatments: list[Named]) -> tuple[str, str]:
    """Return the id of the untreated check and the evidence."""
    named = [one for one in treatments if is_untreated(one.word)]
    if named:
        return named[0].id, f"'{named[0].word}' is a usual name of the untreated check"
    return treatments[0].id, "no treatment is called untreated, so the first was taken: look at it"


def stages_of(tables: Tables, organism: str) -> list[str]:
    """Return the stages in which an organism was counted."""
    scouting = tables.get("scouting")
    if scouting is None or "stage" not in scouting or "organism" not in scouting:
        return []
    own = scouting.loc[scouting["organism"].astype("object") == organism, "stage"]
    return [str(stage) for stage in own.dropna().unique()]


def season_of(tables: Tables, otherwise: int) -> tuple[int, dt.date, dt.date, str]:
    """Return year, first and last date of the season, and the evidence."""
    dates = [day for table, tidy in tables.items() if table != "weather" for day in _dates(tidy)]
    dates = dates or [day for tidy in tables.values() for day in _dates(tidy)]
    if not dates:
        first, last = dt.date(otherwise, 4, 1), dt.date(otherwise, 10, 31)
        return otherwise, first, last, "no date was found in the workbook, so this year was taken"
    year = Counter(day.year for day in dates).most_common(1)[0][0]
    inside = sorted(day for day in dates if day.year == year)
    why = f"the dates run from {inside[0]} to {inside[-1]}; whole months were taken"
    return year, inside[0].replace(day=1), _end_of_month(inside[-1]), why


def _dates(tidy: pd.DataFrame) -> list[dt.date]:
    texts = [str(text) for text in tidy["date"].dropna().unique()] if "date" in tidy else []
    return [reading.date for reading in read_dates(texts, None) if reading.date]


def _end_of_month(day: dt.date) -> dt.date:
    following = (day.replace(day=28) + dt.timedelta(days=4)).replace(day=1)
    return following - dt.timedelta(days=1)


def layout_rows(tables: Tables) -> tuple[str, list[tuple[str, str, str]], list[str]]:
    """Return the table that tells the layout, its (plot, block, treatment), plots told twice."""
    for table, tidy in tables.items():
        if {"plot", "block", "treatment"} <= set(tidy.columns):
            rows = tidy[["plot", "block", "treatment"]].astype("object").dropna().drop_duplicates()
            twice = sorted(rows.loc[rows["plot"].duplicated(), "plot"].unique())
            first = rows.drop_duplicates("plot")
            listed = [tuple(map(str, row)) for row in first.itertuples(index=False)]
            return table, listed, list(map(str, twice))  # type: ignore[return-value]
    return "", [], []
