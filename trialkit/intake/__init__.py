"""Files in, tidy tables out; every fault named by file, row, column and remedy."""

from trialkit.intake.background import Background, Uncorrected
from trialkit.intake.corrections import Correction, Corrections, read_corrections
from trialkit.intake.costs import Costs, read_costs
from trialkit.intake.draft import Draft, draft_study
from trialkit.intake.files import FileRecord
from trialkit.intake.fixes import offered_corrections, write_corrections
from trialkit.intake.handed_on import (
    HandedOn,
    read_all_handed_on,
    read_handed_on,
    write_effects,
    write_handed_on,
)
from trialkit.intake.read import read_site_season
from trialkit.intake.schemas import blank_tables, column_dictionary
from trialkit.intake.site_season import SiteSeason
from trialkit.intake.study_intake import StudyIntake, check_study

__all__ = [
    "Background",
    "Correction",
    "Corrections",
    "Costs",
    "Draft",
    "FileRecord",
    "HandedOn",
    "SiteSeason",
    "StudyIntake",
    "Uncorrected",
    "blank_tables",
    "check_study",
    "column_dictionary",
    "draft_study",
    "offered_corrections",
    "read_all_handed_on",
    "read_corrections",
    "read_costs",
    "read_handed_on",
    "read_site_season",
    "write_corrections",
    "write_effects",
    "write_handed_on",
]
