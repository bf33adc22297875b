"""Usual words: headers of columns, units in them, titles of sheets, grades, the untreated check."""

import re
from typing import Final

from trialkit.columns import QUANTITY_OF_COLUMN
from trialkit.intake.cells import looks_missing
from trialkit.intake.schemas import column_names

_HEADERS: Final[dict[str, tuple[str, ...]]] = {
    "plot": ("plot", "plot no", "plot number", "plot id", "plot nr", "plots"),
    "block": ("block", "block no", "blk", "rep", "rep no", "replicate", "replication", "blocks"),
    "treatment": ("treatment", "trt", "treat", "trtmt", "treatments", "treatment name"),
    "row": ("row", "row no", "map row"),
    "column": ("column", "col", "col no", "map column"),
    "plants": ("plants", "no plants", "no of plants", "number of plants", "stand", "plant count"),
    "area": ("area", "plot area", "plot size"),
    "lost": ("lost", "lost why", "why lost", "reason lost"),
    "date": (
        *("date", "day", "visit", "visit date", "date of visit", "scouting date", "date scouted"),
        *("date picked", "picking date", "pick date", "harvest date", "date harvested", "picked"),
        *("sample date", "date sampled", "rating date", "date rated", "picking"),
    ),
    "plant": ("plant", "plant no", "plant number", "plant id"),
    "organism": ("organism", "insect", "pest", "species", "bug", "what was counted", "arthropod"),
    "stage": ("stage", "life stage", "instar"),
    "count": (
        *("count", "counts", "number", "no", "n", "no counted", "number counted", "how many"),
        *("no of insects", "insects", "total counted"),
    ),
    "observer": ("observer", "scout", "scouted by", "counted by", "initials", "who", "rater", "by"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments"),
    "what": ("what", "trait", "what was rated", "character", "kind of damage"),
    "score": ("score", "rating", "damage", "damage score", "damage rating", "severity"),
    "grade": ("grade", "class", "quality", "graded"),
    "cull_cause": ("cull cause", "cause", "cause of cull", "reason", "cull reason", "defect"),
    "fruit": (
        *("fruit", "fruits", "no fruit", "no fruits", "number of fruit", "no of fruit", "count"),
        *("fruit count", "fruit no", "number", "no"),
    ),
    "weight": ("weight", "wt", "mass", "total weight", "fruit weight", "fruit wt", "total wt"),
    "length": ("length", "len", "fruit length"),
    "diameter": ("diameter", "diam", "dia", "width", "fruit diameter"),
    "event": ("event", "what happened", "happened", "activity", "what", "what was done", "done"),
    "tmin": ("tmin", "min", "low", "min temp", "temp min", "minimum", "lowest", "t min", "lo"),
    "tmax": ("tmax", "max", "high", "max temp", "temp max", "maximum", "highest", "t max", "hi"),
    "rain": ("rain", "rainfall", "precip", "precipitation", "rain gauge"),
}
_UNITS: Final[dict[str, tuple[str, tuple[str, ...]]]] = {
    "lb": ("weight", ("lb", "lbs", "pound", "pounds")),
    "oz": ("weight", ("oz", "ounce", "ounces")),
    "kg": ("weight", ("kg", "kilogram", "kilograms", "kilo", "kilos")),
    "g": ("weight", ("g", "gram", "grams", "gm")),
    "degF": ("temperature", ("f", "degf", "fahrenheit")),
    "degC": ("temperature", ("c", "degc", "celsius")),
    "inch": ("length", ("in", "inch", "inches")),
    "mm": ("length", ("mm", "millimetres", "millimeters")),
    "cm": ("length", ("cm", "centimetres", "centimeters")),
    "ft**2": ("area", ("ft2", "sqft")),
    "m**2": ("area", ("m2", "sqm")),
}
US_UNITS: Final = ("lb", "oz", "degF", "inch", "ft**2")
_TITLES: Final[dict[str, tuple[str, ...]]] = {
    "plots": ("plot", "layout", "map", "design", "randomi"),
    "scouting": ("scout", "count", "insect", "beetle", "bug", "aphid", "mite", "pest", "larva"),
    "ratings": ("rating", "score", "damage", "vigor", "vigour"),
    "harvest": ("harvest", "yield", "pick", "weigh", "cull"),
    "fruit_sizes": ("size", "length", "diameter"),
    "events": ("event", "log", "diary", "calendar", "happened"),
    "weather": ("weather", "rain", "temp", "climate"),
}
_GRADES: Final[dict[str, tuple[str, ...]]] = {
    "marketable": ("marketable", "market", "mkt", "mkbl", "m", "good", "saleable", "sold", "us 1"),
    "cull": ("cull", "culls", "c", "unmarketable", "reject", "rejects", "unsaleable", "bad"),
}
_UNTREATED: Final = ("untreated", "check", "control", "utc", "ctrl", "none", "nothing", "bare")
_NOT_COUNTED: Final = ("total", "sum", "mean", "average", "avg", "temp", "mkt", "market", "yield")
_SPACED: Final = (("#", " no "), ("°", " "), ("²", "2"), ("sq ft", "ft2"), ("sq. ft", "ft2"))


def tokens(text: str) -> list[str]:
    """Return the words of a header in small letters, without signs.

    >>> tokens("Wt (lb)"), tokens("Plot #")
    (['wt', 'lb'], ['plot', 'no'])
    """
    text = text.casefold()
    for old, new in (*_SPACED, ("square feet", "ft2"), ("sq m", "m2")):
        text = text.replace(old, new)
    return re.sub(r"[^a-z0-9]+", " ", text).split()


def column_of(text: str, table: str) -> tuple[str, str]:
    """Return the column of a table that a header usually means, and the unit in it, or empty texts.

    >>> column_of("Wt (lb)", "harvest"), column_of("Rep", "plots"), column_of("Crew", "plots")
    (('weight', 'lb'), ('block', ''), ('', ''))
    """
    words = tokens(text)
    found = _named(" ".join(words), table)
    if found or not words:
        return found, ""
    unit = unit_of(words[-1])
    while words and (words[-1] in ("in", "deg", "degrees", "of") or unit_of(words[-1])):
        words.pop()
    if not words:
        return _of_unit(unit, table), unit
    found = _named(" ".join(words), table)
    return (found, unit) if found and unit in _units_of(table, found) else ("", "")


def unit_of(word: str) -> str:
    """Return the unit that a word of a header names, or an empty text."""
    return next((unit for unit, (_, words) in _UNITS.items() if word in words), "")


def _named(text: str, table: str) -> str:
    known = [name for name in column_names(table) if name in _HEADERS]
    exact = [name for name in known if text == name.replace("_", " ")]
    return next(iter((*exact, *(name for name in known if text in _HEADERS[name]))), "")


def _units_of(table: str, column: str) -> list[str]:
    quantity = QUANTITY_OF_COLUMN.get((table, column), "")
    kind = "length" if quantity == "rain" else quantity
    return [unit for unit, (of, _) in _UNITS.items() if of == kind]


def _of_unit(unit: str, table: str) -> str:
    """The column that a header of a unit alone means, such as "lbs" in harvest."""
    return "weight" if table == "harvest" and unit in _units_of(table, "weight") else ""


def title_table(text: str) -> list[str]:
    """Return the tables that the title of a sheet hints at."""
    text = text.casefold()
    return [table for table, words in _TITLES.items() if any(word in text for word in words)]


def grade_of(text: str) -> str:
    """Return marketable or cull where a word usually means it, else an empty text."""
    bare = " ".join(tokens(text))
    return next((grade for grade, words in _GRADES.items() if bare in words), "")


def is_untreated(text: str) -> bool:
    """Say whether a treatment's name usually means the untreated check."""
    words = tokens(text)
    return words[:1] == ["no"] or any(word in _UNTREATED for word in words)


def may_be_counted(text: str) -> bool:
    """Say whether a header can name an organism: it has letters, and no unit, total or yield."""
    words = tokens(text)
    named = any(len(word) > 2 and word.isalpha() for word in words)
    return (
        named
        and not any(unit_of(w) and w not in ("in", "c", "f") for w in words)
        and not any(word in _NOT_COUNTED for word in words)
    )


def identifier(text: str, fallback: str) -> str:
    """Return an id that study.toml accepts, and that is no usual word for "no value".

    >>> identifier("Fine-mesh netting", "treatment"), identifier("None", "treatment")
    ('fine_mesh_netting', 'treatment_none')
    """
    words = "_".join(re.findall(r"[a-z0-9]+", text.casefold()))
    plain = words[:1].isalpha() and not looks_missing(words)
    return (words if plain else f"{fallback}_{words}".rstrip("_"))[:40]
