"""A study's archive: data package, research object crate, dictionary, checksums, one zip file."""

from trialkit.publish.archive.checksums import FIXED_TIME, write_zip
from trialkit.publish.archive.contents import Deposit
from trialkit.publish.archive.copying import copy_study, edition_of_archive
from trialkit.publish.archive.notes import notes_on
from trialkit.publish.archive.write import finished

__all__ = [
    "FIXED_TIME",
    "Deposit",
    "copy_study",
    "edition_of_archive",
    "finished",
    "notes_on",
    "write_zip",
]
