"""What study.toml declares, as tables that the field data refer to."""

from collections.abc import Iterator
from typing import Any, Final

import pandas as pd

from trialkit.publish.archive.fields import Field, number, of_kind, text
from trialkit.study import Measure, Study
from trialkit.study.units import unit_label

_SETTINGS: Final = (
    *("stage", "rating", "threshold", "cull_cause", "pickings"),
    *("size_column", "size_from", "size_to"),
)
Declared = tuple[str, str, list[Field], pd.DataFrame]


def declared_tables(study: Study, private: bool) -> Iterator[Declared]:
    """Yield (name, what one row is, fields, rows) of each; people and positions if ``private``."""
    yield _treatments(study)
    yield _sites(study, private)
    yield _seasons(study)
    yield _organisms(study)
    yield _cull_causes(study)
    yield _rating_scales(study)
    yield _measures(study)


def _declared(name: str, row_is: str, fields: list[Field], rows: list[list[Any]]) -> Declared:
    return name, row_is, fields, pd.DataFrame(rows, columns=[one["name"] for one in fields])


def _id(meaning: str) -> Field:
    return text("id", f"short name of the {meaning}, as the other tables use it", required=True)


def _treatments(study: Study) -> Declared:
    fields = [
        _id("treatment"),
        text("name", "full name", required=True),
        of_kind("boolean", "untreated_check", "true for the untreated check", required=True),
        text("description", "what was done"),
    ]
    rows = [[one.id, one.name, one.check, one.description] for one in study.treatments]
    return _declared("treatments", "a treatment", fields, rows)


def _sites(study: Study, private: bool) -> Declared:
    fields = [
        _id("site"),
        text("name", "name of the site", required=True),
        text("kind", "research station or cooperating farm", enum=["station", "farm"]),
    ]
    fields += [text("cooperator", "who farms there"), text("position", "where it is")]
    rows = [[s.id, s.name, s.kind, s.cooperator, s.position] for s in study.sites]
    kept = 5 if private else 3
    return _declared("sites", "a site", fields[:kept], [row[:kept] for row in rows])


def _seasons(study: Study) -> Declared:
    fields = [
        of_kind("integer", "year", "year of the season", required=True),
        of_kind("date", "first_date", "first day of the season", required=True),
        of_kind("date", "last_date", "last day of the season", required=True),
        of_kind("boolean", "finished", "false while sheets are still to come", required=True),
    ]
    rows = [
        [one.year, pd.Timestamp(one.first_date), pd.Timestamp(one.last_date), one.finished]
        for one in study.seasons
    ]
    return _declared("seasons", "a season", fields, rows)


def _organisms(study: Study) -> Declared:
    fields = [
        _id("organism"),
        text("name", "name of the organism", required=True),
        text("stages", "life stages that are told apart, with a semicolon between them"),
    ]
    rows = [[one.id, one.name, "; ".join(one.stages)] for one in study.organisms]
    return _declared("organisms", "something that is counted", fields, rows)


def _cull_causes(study: Study) -> Declared:
    fields = [_id("cause"), text("name", "why a fruit was not marketable", required=True)]
    rows = [[one.id, one.name] for one in study.cull_causes]
    return _declared("cull_causes", "a reason why a fruit was not marketable", fields, rows)


def _rating_scales(study: Study) -> Declared:
    fields = [
        _id("rating"),
        text("name", "what is scored", required=True),
        text("scale", "scale of the score", enum=["0-10", "percent"]),
    ]
    rows = [[one.id, one.name, one.scale] for one in study.ratings]
    return _declared("rating_scales", "a visual score and its scale", fields, rows)


def _measures(study: Study) -> Declared:
    fields = [
        _id("measure"),
        text("name", "name of the measure", required=True),
        text("kind", "how it is worked out from the tables", required=True),
        text("unit", "unit of a plot's value in the plot values, which are in SI units"),
        text("better", "which way is better for a grower", enum=["lower", "higher"]),
        number("margin", "smallest difference from the check that would matter", minimum=0),
        text("margin_unit", "unit of the margin", required=True),
        of_kind("boolean", "primary", "true for a measure that leads the reports", required=True),
        text("organism", "id of the organism that it counts"),
        text("settings", "what else study.toml says of it"),
    ]
    rows = [[*_of_measure(one, study)] for one in study.measures]
    return _declared("measures", "one number per plot, and its margin", fields, rows)


def _of_measure(one: Measure, study: Study) -> Iterator[Any]:
    yield from (one.id, one.name, one.kind, si_unit(one))
    yield "lower" if one.lower_is_better else "higher"
    yield from (one.margin, margin_unit(one, study), one.primary, one.organism)
    yield settings_of(one)


def margin_unit(one: Measure, study: Study) -> str:
    """Return the unit of a measure's margin in words."""
    words = {"percent": "percent of the check", "points": "percentage points"}
    return words.get(one.margin_unit) or unit_label(one.quantity, study.units)


def si_unit(one: Measure) -> str:
    """Return the unit of a plot's value of a measure, which is not converted for the archive."""
    canonical = {"yield_area": "kg/m²", "weight_plant": "kg", "weight_fruit": "kg"}
    return canonical.get(one.quantity, one.quantity)


def settings_of(one: Measure) -> str:
    """Return what study.toml says of a measure beyond its columns in the table."""
    said = {name: getattr(one, name) for name in _SETTINGS}
    return "; ".join(f"{name} = {value}" for name, value in said.items() if value is not None)
