"""What an edition's copy of a study holds, and that nothing private comes out of its pages."""

import csv
import shutil
from pathlib import Path

import pandas as pd
import pytest

from trialkit.batch.run import Request
from trialkit.batch.share import share
from trialkit.errors import TrialkitError
from trialkit.intake import read_site_season
from trialkit.publish.editions import editions_of, require_no_name, write_copy
from trialkit.publish.privacy import codes_of
from trialkit.study import read_study

# Every private field of the study below holds one of these, and nothing else does.
FARM, OTHER, COOPERATOR, POSITION, OBSERVER, NOTE = (
    "Zqfarmone", "Zqfarmtwo", "Zqcooperator Person", "Zqposition 12.5 N", "Zqobserver Person",
    "zqnote by somebody",
)  # fmt: skip
YEAR = 2025


@pytest.fixture(scope="module")
def study(tmp_path_factory, example_folder):
    """Two farms of the example in one season, renamed to markers, with markers in the sheets."""
    folder = tmp_path_factory.mktemp("private_study")
    text = (example_folder / "study.toml").read_text(encoding="utf-8")
    for old, new in {
        "brook_terrace": FARM.lower(), "Brook Terrace": FARM, "cedar_flat": OTHER.lower(),
        "Cedar Flat": OTHER, "Invented Cooperator One": COOPERATOR,
        "invented position one": POSITION,
        "from transplanting until": f"at {FARM.upper()}, says {COOPERATOR}, until",
    }.items():  # fmt: skip
        assert old in text
        text = text.replace(old, new)
    # One season keeps the render short.
    for year in ("2024", "2026"):
        start = text.index(f"[[seasons]]\nyear = {year}")
        text = text[:start] + text[text.index("[[", start + 2) :]
    text = text.replace(
        f"[[seasons]]\nyear = {YEAR}\n",
        f'[[seasons]]\nyear = {YEAR}\nsites = ["{FARM.lower()}", "{OTHER.lower()}"]\n',
    )
    (folder / "study.toml").write_text(text, encoding="utf-8")
    for site, name in (("brook_terrace", FARM), ("cedar_flat", OTHER)):
        source = example_folder / "data" / str(YEAR) / site
        _mark(Path(shutil.copytree(source, folder / "data" / str(YEAR) / name.lower())))
    return read_study(folder)


def _mark(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        for row in rows:
            row |= {
                key: {"observer": OBSERVER, "note": NOTE}[key]
                for key in ("observer", "note")
                if key in row
            }
            row |= {"farmer": COOPERATOR}
        if path.stem == "plots":
            rows[0]["lost"] = f"{COOPERATOR} mowed it"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)


def everything_in(folder: Path) -> str:
    """All names and contents of a folder's files, in small letters."""
    files = [path for path in folder.rglob("*") if path.is_file()]
    assert files
    told = [str(path.relative_to(folder)) + path.read_bytes().decode("latin-1") for path in files]
    return "\n".join(told).casefold()


@pytest.mark.parametrize("kind", ["public", "cooperator", "funder"])
def test_the_copy_of_a_study_holds_no_marker_that_the_edition_must_not_say(
    study, kind, tmp_path
) -> None:
    for edition in editions_of(study, kind):
        copy = tmp_path / edition.key
        copy.parent.mkdir(exist_ok=True)
        write_copy(study, edition, copy)
        held = everything_in(copy)
        hidden = [COOPERATOR, OBSERVER, NOTE, POSITION]
        hidden += [name for name in (FARM, OTHER) if name.lower() not in edition.named]
        assert [marker for marker in hidden if marker.casefold() in held] == []
        assert all(name.casefold() in held for name in edition.named if name.startswith("zq"))


def test_the_copy_reads_as_the_study_does_but_for_the_names(study, tmp_path) -> None:
    (edition,) = editions_of(study, "public")
    write_copy(study, edition, tmp_path / "copy")
    copy = read_study(tmp_path / "copy")
    assert copy.measures == study.measures
    assert len(copy.seasons[0].sites) == 2
    assert {site.id for site in copy.sites} == {"alder_bench", *codes_of(study).values()}
    assert [site.cooperator or site.position for site in copy.sites] == ["", "", ""]


def test_each_cooperator_sees_the_own_farm_by_name_and_the_other_by_code(study) -> None:
    one, two = editions_of(study, "cooperator")
    assert FARM.lower() in one.named
    assert OTHER.lower() not in one.named
    assert OTHER.lower() in two.named


def test_public_pages_hold_no_marker_and_name_farms_by_code(study, tmp_path) -> None:
    (index,) = share(Request(study.folder, out=tmp_path, workers=1), "public")
    held = everything_in(index.parent)
    markers = (FARM, OTHER, COOPERATOR, OBSERVER, NOTE, POSITION, "zq")
    texts = "\n".join(path.read_text("utf-8").casefold() for path in index.parent.rglob("*.html"))
    assert [marker for marker in markers[:-1] if marker.casefold() in held] == []
    assert all(code in texts for code in codes_of(study).values())
    files = [path for path in index.parent.rglob("*") if path.is_file()]
    assert {path.name for path in files} == {"index.html", "report.html"}
    assert len(files) == 5  # the index, two farms, all together, the final report
    assert "public edition" in index.read_text("utf-8").casefold()


def test_a_page_that_still_names_somebody_is_not_handed_out(study) -> None:
    (edition,) = editions_of(study, "public")
    with pytest.raises(TrialkitError, match="nothing was handed out"):
        require_no_name(edition, f"<p>Thanks to {COOPERATOR}</p>".encode(), "report.html")


def test_a_copy_keeps_every_visit_whose_file_is_its_own(study, tmp_path) -> None:
    folder = Path(shutil.copytree(study.folder, tmp_path / "study"))
    for path in folder.glob("data/*/*/scouting.csv"):
        header, *lines = path.read_text(encoding="utf-8").splitlines()
        for date in {line[:10] for line in lines}:
            visit = [header, *(line for line in lines if line.startswith(date))]
            name = f"scouting_{date}_{OBSERVER}.csv"
            path.with_name(name).write_text("\n".join(visit), encoding="utf-8")
        path.unlink()
    edition = editions_of(read_study(folder), "public")[0]
    write_copy(read_study(folder), edition, tmp_path / "copy")
    assert OBSERVER.casefold() not in everything_in(tmp_path / "copy")
    whole = read_site_season(study, YEAR, FARM.lower()).tables["scouting"]
    copied = read_study(tmp_path / "copy")
    site = codes_of(read_study(folder))[FARM.lower()]
    found = read_site_season(copied, YEAR, site).tables["scouting"]
    columns = ["date", "plot", "plant", "organism", "stage", "count"]
    ordered = [t[columns].sort_values(columns).reset_index(drop=True) for t in (found, whole)]
    pd.testing.assert_frame_equal(*ordered)


def test_a_correction_of_a_workbook_is_made_in_the_copy_too(example_folder, tmp_path):
    example = read_study(shutil.copytree(example_folder, tmp_path / "study"))
    (edition,) = editions_of(example, "public")
    write_copy(example, edition, tmp_path / "copy")
    copy = read_study(tmp_path / "copy")
    made = [len(read_site_season(copy, *place).corrections) for place in copy.site_seasons()]
    assert sorted(made) == [0, 0, 0, 0, 0, 0, 1, 1, 1]
