"""The shape of the package: rooms and their imports, length of files, who sees the world."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "trialkit"
LEAVES = {"errors", "columns"}
ROOMS = {
    "study": set(),
    "intake": {"study"},
    "measures": {"study"},
    "inference": set(),
    "findings": {"study", "inference"},
    "figures": {"study"},
    "narrative": {"study", "findings"},
    "publish": {"study", "intake", "narrative", "figures"},
    "batch": {"study", "narrative", "publish"},
    "planning": {"study", "inference"},
}
FLOW = {"study", "intake", "measures", "inference", "findings", "figures", "narrative"}
MAY_IMPORT = {
    "errors": set(),
    "columns": set(),
    **{room: allowed | LEAVES for room, allowed in ROOMS.items()},
    "report": FLOW | {"planning"} | LEAVES,  # what notebooks call
    "__init__": {"report", "inference"} | LEAVES,
    "simulate": set(ROOMS) | LEAVES,
    "cli": {*ROOMS, "simulate", "report"} | LEAVES,
}
OUTSIDE_WORLD = {"papermill", "nbclient", "time", "os.environ", "os.getenv", "os.getcwd"}
CLOCK_CALLS = {"now", "today", "utcnow", "time", "perf_counter", "monotonic", "cwd"}
READERS = {"read_csv", "read_excel", "load_workbook", "read_table"}
MAY_READ_TABLES = {"intake", "cli", "batch", "simulate"}
LONGEST_FILE = 400


def files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports_of(tree: ast.AST) -> Iterator[str]:
    """Full dotted names that a file imports, wherever the import stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative imports hide the room that they cross into"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def rooms_imported(source: str) -> set[str]:
    """Rooms of trialkit that a source text imports; ``__version__`` belongs to no room."""
    names = [name.split(".") for name in imports_of(ast.parse(source))]
    inside = {name[1] if len(name) > 1 else "__init__" for name in names if name[0] == "trialkit"}
    return inside - {"__version__"}


def world_seen(source: str) -> set[str]:
    """Names through which a source text reaches papermill, the clock or the environment."""
    tree = ast.parse(source)
    seen = {name for name in imports_of(tree) if name.split(".")[0] in OUTSIDE_WORLD}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and ast.unparse(node) in OUTSIDE_WORLD:
            seen.add(ast.unparse(node))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            owner = ast.unparse(node.func.value).split(".")[-1].lower()
            known = owner in {"date", "datetime", "dt", "timestamp", "time", "path"}
            if known and node.func.attr in CLOCK_CALLS and not node.args:
                seen.add(ast.unparse(node.func))
    return seen


@pytest.mark.parametrize("path", files(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_file_imports_only_what_its_room_may(path: Path) -> None:
    room = room_of(path)
    assert room in MAY_IMPORT, f"{room} is no room of the design"
    crossing = rooms_imported(path.read_text(encoding="utf-8")) - {room}
    assert crossing <= MAY_IMPORT[room]


@pytest.mark.parametrize("path", files(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_file_is_short_enough_to_read(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_FILE


@pytest.mark.parametrize("path", files(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_only_the_batch_and_the_command_line_see_the_outside_world(path: Path) -> None:
    if room_of(path) not in {"batch", "cli"}:
        assert world_seen(path.read_text(encoding="utf-8")) == set()


@pytest.mark.parametrize("path", files(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_tables_are_read_from_files_in_one_place(path: Path) -> None:
    names = {
        node.attr if isinstance(node, ast.Attribute) else node.id
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute | ast.Name)
    }
    assert room_of(path) in MAY_READ_TABLES or not names & READERS


def test_the_guards_see_what_they_should() -> None:
    assert rooms_imported("from trialkit.findings import verdict") == {"findings"}
    assert rooms_imported("def f():\n    import trialkit.batch.run") == {"batch"}
    assert rooms_imported("from trialkit import __version__, report") == {"report"}
    assert world_seen("import papermill as pm") == {"papermill"}
    assert world_seen("import os\nhome = os.environ['HOME']") == {"os.environ"}
    assert world_seen("import datetime as dt\nx = dt.date.today()") == {"dt.date.today"}
    assert world_seen("import pandas as pd\nx = pd.Timestamp.now()") == {"pd.Timestamp.now"}
    assert world_seen("from datetime import date\nx = date(2024, 5, 1)") == set()


def test_the_rooms_form_no_circle() -> None:
    settled: set[str] = set()
    while len(settled) < len(ROOMS):
        ready = {room for room in ROOMS if room not in settled and ROOMS[room] <= settled}
        assert ready, "the arrows of the design run in a circle"
        settled |= ready
