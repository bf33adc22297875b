"""What was planned: treatments, sites, seasons, measures, units and margins."""

from trialkit.study.deposit import Archive, Author, licence_address, licence_id
from trialkit.study.description import Study
from trialkit.study.economics import FIELD_AREA, WEIGHT_UNIT, Economics, EventLabour, per_field_area
from trialkit.study.economics_checks import economics_faults, wrong_amount
from trialkit.study.layout import Assumption, Constraint, Design, Layout, LayoutCosts, Planting
from trialkit.study.mapping import Spread, TableMapping
from trialkit.study.measure import KINDS, Measure
from trialkit.study.parts import (
    CullCause,
    DegreeDays,
    Organism,
    ProtocolRule,
    Rating,
    Season,
    Site,
    Treatment,
)
from trialkit.study.read import STUDY_FILE, read_study

__all__ = [
    "FIELD_AREA",
    "KINDS",
    "STUDY_FILE",
    "WEIGHT_UNIT",
    "Archive",
    "Assumption",
    "Author",
    "Constraint",
    "CullCause",
    "DegreeDays",
    "Design",
    "Economics",
    "EventLabour",
    "Layout",
    "LayoutCosts",
    "Measure",
    "Organism",
    "Planting",
    "ProtocolRule",
    "Rating",
    "Season",
    "Site",
    "Spread",
    "Study",
    "TableMapping",
    "Treatment",
    "economics_faults",
    "licence_address",
    "licence_id",
    "per_field_area",
    "read_study",
    "wrong_amount",
]
