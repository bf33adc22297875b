"""What a person should know of an archive that was written all the same."""

from collections.abc import Iterator

from trialkit.errors import Fault
from trialkit.publish.archive.contents import Deposit
from trialkit.study import STUDY_FILE, licence_address


def notes_on(deposit: Deposit) -> tuple[Fault, ...]:
    """Return a note for each thing that a repository will ask for or a reader will miss."""
    return (*_absent(deposit), *_amiss(deposit))


def _absent(deposit: Deposit) -> Iterator[Fault]:
    study = deposit.study
    if not study.licence:
        what = "no licence is stated, so nobody may use the archived data without asking"
        yield _note("licence", what, 'Add licence = "CC-BY-4.0", say, near its top', "no_licence")
    elif not licence_address(study.licence):
        what = f"'{study.licence}' is no licence that programs know"
        remedy = "Give an SPDX identifier such as CC-BY-4.0, or the address of its text"
        yield _note("licence", what, remedy, "unknown_licence")
    if not study.authors:
        what = "no authors are stated, so nobody can cite the archived data"
        yield _note("authors", what, 'Add [[authors]] with name = "Family, Given"', "no_authors")


def _amiss(deposit: Deposit) -> Iterator[Fault]:
    if deposit.errors:
        many = "an error" if deposit.errors == 1 else f"{deposit.errors} errors"
        what = f"{many} in the data; what it touches is in no table and no report"
        remedy = "Mend it first if you can; tables/problems.csv in the archive tells of each"
        yield Fault("data", 0, "", what, remedy, "errors", "note")


def _note(key: str, what: str, remedy: str, code: str) -> Fault:
    return Fault(STUDY_FILE, 0, key, what, remedy, code, "note")
