"""Names of files that every system can unpack."""

import pytest

from trialkit.errors import StudyError
from trialkit.publish.archive.contents import require_portable
from trialkit.publish.archive.data_package import resource_name

UNFIT = {
    "a parent folder": "data/../../x.csv",
    "an absolute path": "/data/x.csv",
    "a Windows parent folder": "data\\..\\x.csv",
    "a line break": "data/x\ny.csv",
    "a control character": "data/x\x07.csv",
    "a right-to-left mark": "data/x\u202evsc.exe",
    "a colon": "data/x:y.csv",
    "a question mark": "data/why?.csv",
    "a device of Windows": "data/con.csv",
    "a full stop at the end": "data/x.",
    "a blank at the end": "data/x ",
    "bytes that are no text": "data/x\udcff.csv",
}


@pytest.mark.parametrize("name", UNFIT.values(), ids=UNFIT)
def test_a_name_that_cannot_be_unpacked_everywhere_is_told(name) -> None:
    with pytest.raises(StudyError, match="could not be unpacked everywhere") as told:
        require_portable([name], "study")
    str(told.value).encode()  # can be printed


def test_names_that_differ_by_capitals_only_are_told() -> None:
    with pytest.raises(StudyError, match="small and capital letters"):
        require_portable(["data/Plots.csv", "data/plots.csv"], "study")


def test_usual_names_pass() -> None:
    require_portable(["data/2025/Bäche – 2 (neu).xlsx", "data/2025/plots.csv"], "study")


def test_a_resource_is_named_after_its_path() -> None:
    assert resource_name("study/data/2025/Bench (1).xlsx") == "study/data/2025/bench--1-.xlsx"
