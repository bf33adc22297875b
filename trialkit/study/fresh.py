"""A fresh study: a description with comments to follow and empty sheets to fill in."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from trialkit.errors import TrialkitError
from trialkit.study.read import STUDY_FILE, read_study

TEMPLATE = Path(__file__).with_name("fresh_study.toml")


def start_study(folder: Path, year: int, headers: Mapping[str, Sequence[str]]) -> tuple[Path, ...]:
    """Write a fresh study into a new or empty folder and return the files written.

    ``headers`` gives the columns of each sheet; the sheet of costs goes beside study.toml. Raises
    TrialkitError when the folder already holds something.
    """
    _make(folder)
    text = TEMPLATE.read_text(encoding="utf-8")
    text = text.replace("@NAME@", study_name(folder.resolve().name)).replace("@YEAR@", str(year))
    (folder / STUDY_FILE).write_text(text, encoding="utf-8")
    study = read_study(folder)
    written = [folder / STUDY_FILE]
    for table, columns in headers.items():
        places = (
            [folder] if table == "costs" else [study.data_folder(*s) for s in study.site_seasons()]
        )
        written += [_blank(place / f"{table}.csv", columns) for place in places]
    return tuple(written)


def start_drafted_study(
    folder: Path, text: str, files: Mapping[str, bytes], costs: Sequence[str]
) -> tuple[Path, ...]:
    """Write a drafted study into a new or empty folder and return the files written.

    ``text`` is study.toml, ``files`` are further files by their path from the folder, ``costs`` the
    columns of costs.csv. Raises TrialkitError when the folder already holds something.
    """
    _make(folder)
    (folder / STUDY_FILE).write_text(text, encoding="utf-8")
    read_study(folder)
    written = [folder / STUDY_FILE]
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
        written.append(folder / name)
    return (*written, _blank(folder / "costs.csv", costs))


def _make(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise TrialkitError(
            f"{folder}::: there is something here already. Choose a new or an empty folder."
        )
    folder.mkdir(parents=True, exist_ok=True)


def study_name(text: str) -> str:
    """Return a name that study.toml accepts, made from the name of a folder.

    >>> study_name("Squash 2026 – covers")
    'squash_2026_covers'
    >>> study_name("2026")
    'study_2026'
    """
    letters = "".join(c if c.isascii() and c.isalnum() else "_" for c in text.lower())
    words = "_".join(part for part in letters.split("_") if part) or "study"
    return (words if words[0].isalpha() else f"study_{words}")[:40]


def _blank(path: Path, columns: Sequence[str]) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(",".join(columns) + "\n", encoding="utf-8")
    return path
