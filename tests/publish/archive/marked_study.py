"""A small study of which every private field holds a marker."""

import csv
import datetime as dt
import shutil
from pathlib import Path

# Every private field of the study holds one of these, and nothing else does.
FARM, OTHER, COOPERATOR, POSITION, OBSERVER, NOTE, CORRECTOR = (
    "Zqfarmone", "Zqfarmtwo", "Zqcooperator Person", "Zqposition 12.5 N", "Zqobserver Person",
    "zqnote by somebody", "Zqcorrector Person",
)  # fmt: skip
MARKERS = (FARM, OTHER, COOPERATOR, POSITION, OBSERVER, NOTE, CORRECTOR)
AUTHOR = "Testwell, Ada"
YEAR = 2025
COLUMNS = ["file", "row", "key", "column", "was", "now", "code", "who", "when", "why"]
MADE = dt.date(2026, 11, 5)
MEASURES = ("flea_beetle_days", "marketable_yield", "cull_percent")


def marked_study(folder: Path, example: Path) -> Path:
    """Two farms of the example in one season: one with CSV files, one with a workbook."""
    text = (example / "study.toml").read_text(encoding="utf-8")
    for old, new in {
        "brook_terrace": FARM.lower(), "Brook Terrace": FARM, "cedar_flat": OTHER.lower(),
        "Cedar Flat": OTHER, "Invented Cooperator One": COOPERATOR,
        "invented position one": POSITION,
        "from transplanting until": f"at {FARM.upper()}, says {COOPERATOR}, until",
    }.items():  # fmt: skip
        assert old in text
        text = text.replace(old, new)
    head, *parts = text.split("\n[[")
    parts = [part for part in parts if _is_wanted(part)]
    sites = f'year = {YEAR}\nsites = ["{FARM.lower()}", "{OTHER.lower()}"]'
    text = "\n[[".join([head, *parts]).replace(f"year = {YEAR}", sites)
    folder.mkdir(parents=True)
    (folder / "study.toml").write_text(_with_authors(text), encoding="utf-8")
    for site, name in (("brook_terrace", FARM), ("cedar_flat", OTHER)):
        source = example / "data" / str(YEAR) / site
        shutil.copytree(source, folder / "data" / str(YEAR) / name.lower())
    _mark(folder / "data" / str(YEAR) / FARM.lower())
    shutil.copy(example / "costs.csv", folder)
    _correct(folder)
    (folder / "narrative" / str(YEAR)).mkdir(parents=True)
    return folder


def _is_wanted(part: str) -> bool:
    if part.startswith("seasons]]"):
        return f"year = {YEAR}" in part
    return not part.startswith("measures]]") or any(f'id = "{one}"' in part for one in MEASURES)


def _with_authors(text: str) -> str:
    before, _, after = text.partition("\n[[authors]]\n")
    text = before + after[after.index("\n# --- ") :]
    lines = [line for line in text.splitlines() if not line.startswith(("licence", "[archive]"))]
    author = f'[[authors]]\nname = "{AUTHOR}"\naffiliation = "Testing Institute"\n'
    author += 'orcid = "0000-0002-1825-0097"\n'  # the invented person of ORCID's own examples
    before, site, after = "\n".join(lines).partition("\n[[sites]]")
    return f'licence = "CC-BY-4.0"\n{before}\n{author}{site}{after}\n'


def _mark(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        told = {"observer": OBSERVER, "note": NOTE}
        rows = [row | {key: told[key] for key in told if key in row} for row in rows]
        if path.stem == "plots":
            rows[0]["lost"] = f"{COOPERATOR} mowed it"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)


def _correct(folder: Path) -> None:
    """Two corrections that move findings: one of a CSV file, one of a sheet of the workbook."""
    place = f"data/{YEAR}/{FARM.lower()}/scouting.csv"
    with (folder / place).open(encoding="utf-8", newline="") as file:
        count = list(csv.DictReader(file))[3]["count"]
    book = f"data/{YEAR}/{OTHER.lower()}/cedar_flat_{YEAR}.xlsx#harvest"
    signed = (CORRECTOR, "2025-10-06", f"{FARM} says so")
    with (folder / "corrections.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(
            ["file", "row", "key", "column", "was", "now", "code", "who", "when", "why"]
        )
        writer.writerow([place, 5, "", "count", count, int(count) + 40, "", *signed])
        writer.writerow([book, 123, "", "weight", "4.07", "8.98", "", *signed])
