"""study.toml: every fault at once, each with its line and a remedy."""

import pytest

from trialkit.errors import StudyError
from trialkit.study import read_study
from trialkit.study.read import line_of


@pytest.fixture
def text(example_folder):
    return (example_folder / "study.toml").read_text(encoding="utf-8")


def faults_of(tmp_path, text):
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        read_study(tmp_path)
    return caught.value.faults


def test_the_example_reads_from_its_folder_and_from_its_file(example_folder):
    from_folder = read_study(example_folder)
    from_file = read_study(example_folder / "study.toml")
    assert from_folder == from_file
    assert from_folder.folder == example_folder


@pytest.mark.parametrize(
    ("right", "wrong", "hint"),
    [
        ('cautions = ["cover"]', 'cuations = ["cover"]', "'cautions'"),
        ("units = ", "unit = ", "'units'"),
    ],
)
def test_an_unknown_key_is_named_with_line_and_nearest_key(tmp_path, text, right, wrong, hint):
    changed = text.replace(right, wrong, 1)
    unknown = [fault for fault in faults_of(tmp_path, changed) if "unknown key" in fault.what]
    assert len(unknown) == 1
    assert wrong in changed.splitlines()[unknown[0].row - 1]
    assert hint in unknown[0].remedy


def test_every_fault_is_told_not_only_the_first(tmp_path, text):
    changed = text.replace('id = "kaolin"', 'id = "Kaolin X"').replace(
        "margin = 30 ", "margn = 30 "
    )
    told = "\n".join(map(str, faults_of(tmp_path, changed)))
    assert "'Kaolin X' cannot be an id" in told
    assert "unknown key 'margn'" in told
    assert "'margin' is missing" in told


def test_broken_toml_names_the_line(tmp_path, text):
    (fault,) = faults_of(tmp_path, text.replace('units = "us"', "units = us", 1))
    assert fault.code == "toml"
    assert "units = us" in text.replace('"us"', "us").splitlines()[fault.row - 1]


def test_a_folder_without_study_says_how_to_start_one(tmp_path):
    with pytest.raises(StudyError, match="trialkit new"):
        read_study(tmp_path)


def test_a_file_that_is_not_utf8_says_so(tmp_path, text):
    (tmp_path / "study.toml").write_bytes(text.replace("Kaolin", "Kaolín").encode("latin-1"))
    with pytest.raises(StudyError, match="not UTF-8"):
        read_study(tmp_path)


@pytest.mark.parametrize(
    ("right", "wrong", "words"),
    [
        ("\ncheck = true", "\ncheck = false", "exactly one treatment must have check = true"),
        ('organism = "flea_beetle"', 'organism = "flea_bettle"', "which is not declared"),
        ('kind = "insect_days"', 'kind = "insect_daze"', "unknown kind"),
        ('id = "clover"\nname', 'id = "netting"\nname', "lists 'netting' twice"),
        ("last_date = 2024-09-30", "last_date = 2024-03-30", "last_date must come after"),
        ("threshold = 4 ", "# ", "also needs threshold"),
    ],
)
def test_what_does_not_fit_together_is_said_in_words(tmp_path, text, right, wrong, words):
    told = "\n".join(map(str, faults_of(tmp_path, text.replace(right, wrong, 1))))
    assert words in told


def test_line_of_finds_the_second_table_of_a_list(text):
    line = line_of(text, ("sites", 1, "cooperator"))
    assert "Invented Cooperator One" in text.splitlines()[line - 1]


def test_a_key_inside_braces_is_found_where_the_braces_stand() -> None:
    text = '[economics]\nwage = 1\nprices = { marketable = "x" }\n'
    assert line_of(text, ("economics", "prices", "marketable")) == 3
    assert line_of(text, ("economics", "nothing")) == 1
