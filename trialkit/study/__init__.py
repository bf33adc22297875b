"""What was planned: treatments, sites, seasons, measures, units and margins."""

from trialkit.study.description import Study
from trialkit.study.layout import Assumption, Constraint, Design, Layout, LayoutCosts, Planting
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
    "KINDS",
    "STUDY_FILE",
    "Assumption",
    "Constraint",
    "CullCause",
    "DegreeDays",
    "Design",
    "Layout",
    "LayoutCosts",
    "Measure",
    "Organism",
    "Planting",
    "ProtocolRule",
    "Rating",
    "Season",
    "Site",
    "Study",
    "Treatment",
    "read_study",
]
