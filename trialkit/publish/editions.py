"""Editions: copies of a study in which private names never stood, to be rendered as any other.

An edition is rendered anew from such a copy. Rewriting finished pages could not reach the names
that are drawn into figures; in a copy that never held them, nothing is left to reach.
"""

import csv
<<<<<<< HEAD
import json
import re
=======
>>>>>>> f491ab9 (Write a study's archive: tidy tables, data package, research object crate, dictionary, checksums)
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from trialkit.columns import TABLES
from trialkit.errors import TrialkitError
from trialkit.intake.grid import Grid
from trialkit.intake.header import bare_name
from trialkit.intake.schemas import column_names
from trialkit.intake.stack import table_of, visit_of
from trialkit.intake.text_file import grid_of_text
from trialkit.intake.workbook import grids_of_workbook
from trialkit.publish.privacy import Names, codes_of, cooperators, names_to_take_out
from trialkit.publish.toml_text import toml_text
from trialkit.study import STUDY_FILE, Study

Kind = Literal["cooperator", "public", "funder"]
KINDS: Final = ("cooperator", "public", "funder")
PERSONAL: Final = ("observer", "note")
AS_STATED: Final = ("authors",)
_HEADER_WITHIN: Final = 20
_PRIVATE_OF_A_SITE: Final = ("cooperator", "position")
_DAY: Final = re.compile(r"\d{4}-?\d\d-?\d\d")
_WORKBOOKS: Final = (".xlsx", ".xlsm", ".ods")


@dataclass(frozen=True)
class Edition:
    """One edition: its folder's name, what it says of itself, which sites it names."""

    key: str
    words: str
    names: Names
    named: frozenset[str]


def editions_of(study: Study, kind: Kind) -> tuple[Edition, ...]:
    """Return the editions of a kind: one, or for cooperators one for each of them."""
    people, every = _people(study), frozenset(site.id for site in study.sites)
    stations = every - codes_of(study).keys()
    if kind == "funder":
        words = "Funder's edition: every site is named, no person is."
        return (Edition(kind, words, names_to_take_out(study, every, people), every),)
    if kind == "public":
        words = "Public edition: cooperating farms stand under codes; no person is named."
        return (Edition(kind, words, names_to_take_out(study, stations, people), stations),)
    made = []
    for key, own in cooperators(study).items():
        named = stations | set(own)
        told = ", ".join(study.site(site).name for site in own)
        words = f"Edition for {told}: the other farms stand under codes; no person is named."
        names = names_to_take_out(study, named, people)
        made.append(Edition(f"cooperator/{key}", words, names, named))
    return tuple(made)


def write_copy(study: Study, edition: Edition, folder: Path) -> None:
    """Write the edition's copy of the study: its description and its data, private names gone.

    Only columns that trialkit knows are copied, without observers and notes; comments, other
    files and whatever stands above a header stay behind.
    """
    codes = {farm: code for farm, code in codes_of(study).items() if farm not in edition.named}
    folder.mkdir(parents=True)
    told = tomllib.loads((study.folder / STUDY_FILE).read_text(encoding="utf-8-sig"))
    coded = _coded(_without_private(told), edition.names)
    # Authors want to be named, also where the data name them as observers.
    coded |= {key: told[key] for key in AS_STATED if key in told}
    # In the order of the codes, for the order of the list would tell who is who.
    coded["sites"].sort(key=lambda site: (site["id"] in codes.values(), site["id"]))
    (folder / STUDY_FILE).write_text(toml_text(coded), encoding="utf-8")
    for season, site in study.site_seasons():
        source = study.data_folder(season, site)
        target = folder / "data" / str(season) / codes.get(site, site)
        if source.is_dir():
            _copy_tables(source, target, edition.names)
    _copy_beside(study.folder, folder, edition.names)


def _without_private(told: dict[str, Any]) -> dict[str, Any]:
    sites = [
        {key: value for key, value in site.items() if key not in _PRIVATE_OF_A_SITE}
        for site in told["sites"]
    ]
    return {**told, "sites": sites}


def _coded(value: Any, names: Names) -> Any:
    """Every text of the study's description, keys too, with the private names taken out."""
    if isinstance(value, str):
        return names.taken_out(value)
    if isinstance(value, list):
        return [_coded(one, names) for one in value]
    if isinstance(value, dict):
        return {names.taken_out(key): _coded(one, names) for key, one in value.items()}
    return value


<<<<<<< HEAD
def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(key)} = {_toml(one)}" for key, one in value.items()) + "}"
    return str(value)  # numbers and dates are written in TOML as Python writes them


def _key(key: str) -> str:
    return json.dumps(key, ensure_ascii=False)


def _sheets(folder: Path) -> Iterator[tuple[str, str, Grid]]:
    """Every table of a folder, the name that its copy gets, and its cells.

    A visit's file may be named after anybody who typed it, so its copy bears day and number only.
    """
    for number, path in enumerate(sorted(folder.iterdir())):
        visit = visit_of(path)
        day = f"_{_DAY.findall(path.stem)[0]}_{number}" if visit else ""
        for table, grid in _tables(path, visit):
            yield table, f"{table}{day}", grid


def _tables(path: Path, visit: str) -> Iterator[tuple[str, Grid]]:
    if path.suffix.casefold() in _WORKBOOKS:
        found = grids_of_workbook(path.read_bytes())
        grids = found if isinstance(found, dict) else {}
        named = {table_of(t, visit, alone=len(grids) == 1): grid for t, grid in grids.items()}
        yield from ((table, grid) for table, grid in named.items() if table in TABLES)
    elif path.suffix.casefold() == ".csv" and (visit or path.stem.casefold() in TABLES):
        table = visit or path.stem.casefold()
        yield table, grid_of_text(path.read_bytes(), column_names(table))
=======
def _sheets(folder: Path) -> Iterator[tuple[str, Grid]]:
    for path in sorted(folder.iterdir()):
        if path.suffix.casefold() in _WORKBOOKS:
            found = grids_of_workbook(path.read_bytes())
            yield from found.items() if isinstance(found, dict) else ()
        elif path.suffix.casefold() == ".csv" and path.stem.casefold() in TABLES:
            table = path.stem.casefold()
            yield table, grid_of_text(path.read_bytes(), column_names(table))
>>>>>>> f491ab9 (Write a study's archive: tidy tables, data package, research object crate, dictionary, checksums)


def _rows(table: str, grid: Grid) -> tuple[int, dict[int, str], list[list[str]]]:
    """Place of the header among the rows, the known columns by position, and all rows as texts."""
    texts = grid.cells.astype(object).where(grid.cells.notna(), "")
    rows = [[str(text) for text in row] for row in texts.to_numpy().tolist()]
    known = set(column_names(table))
    hits = [sum(bare_name(text) in known for text in row) for row in rows[:_HEADER_WITHIN]]
    header = hits.index(max(hits)) if any(hits) else -1
    named = {
        place: bare_name(text)
        for place, text in enumerate(rows[header] if header >= 0 else ())
        if bare_name(text) in known
    }
    return header, named, rows


def _copy_tables(source: Path, target: Path, names: Names) -> None:
    target.mkdir(parents=True)
    for table, stem, grid in _sheets(source):
        _copy_table(table, grid, target / f"{stem}.csv", names)


def _copy_table(table: str, grid: Grid, target: Path, names: Names) -> None:
    header, named, rows = _rows(table, grid)
    kept = {place: name for place, name in named.items() if name not in PERSONAL}
    # Rows stay where they are, so that a correction finds its row.
    lines = [["" for _ in kept] for _ in rows[: max(header, 0)]]
    lines += [list(kept.values())] if kept else []
    lines += [[names.taken_out(row[place]) for place in kept] for row in rows[header + 1 :] if kept]
    with target.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(lines)


def _copy_beside(source: Path, target: Path, names: Names) -> None:
    """Costs, corrections and the narrative, which stand beside the study's description."""
    if (source / "costs.csv").is_file():
        data = (source / "costs.csv").read_bytes()
        grid = grid_of_text(data, column_names("costs"))
        _copy_table("costs", grid, target / "costs.csv", names)
    if (source / "corrections.csv").is_file():
        _copy_corrections(source / "corrections.csv", target / "corrections.csv", names)
    for path in sorted((source / "narrative").rglob("*.md")):
        place = target / names.taken_out(path.relative_to(source).as_posix())
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(names.taken_out(path.read_text(encoding="utf-8")), encoding="utf-8")


def _copy_corrections(source: Path, target: Path, names: Names) -> None:
    with source.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    kept = [row for row in rows if bare_name(row.get("column") or "") not in PERSONAL]
    with target.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]) if rows else ["file"], extrasaction="ignore")
        writer.writeheader()
        for row in kept:
            row["file"] = _file_in_copy(row.get("file") or "")
            coded = {key: names.taken_out(text or "") for key, text in row.items() if key}
            writer.writerow({**coded, **({"who": "somebody"} if coded.get("who") else {})})


def _file_in_copy(file: str) -> str:
    """Name of a file in the copy, where each sheet of a workbook stands in a file of its own."""
    book, part, sheet = file.replace("\\", "/").partition("#")
    return f"{book.rpartition('/')[0]}/{bare_name(sheet)}.csv" if part else file


def _people(study: Study) -> frozenset[str]:
    """Everybody whom the data name as an observer."""
    found: set[str] = set()
    for season, site in study.site_seasons():
        folder = study.data_folder(season, site)
        for table, _, grid in _sheets(folder) if folder.is_dir() else ():
            header, named, rows = _rows(table, grid)
            places = [place for place, name in named.items() if name == "observer"]
            found.update(row[place] for row in rows[header + 1 :] for place in places)
    return frozenset(found)


def require_no_name(edition: Edition, data: bytes, what: str) -> None:
    """Raise TrialkitError when a finished file still holds a private name; it is not handed out."""
    found = edition.names.found_in(data)
    if found:
        raise TrialkitError(
            f"{what}::: the page still says '{found}', which is private in this edition, so "
            "nothing was handed out. Take the name out of the study's texts or the narrative."
        )
