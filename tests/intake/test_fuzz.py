"""Whatever is typed: faults with places, or the same numbers; never a traceback."""

import shutil
import tempfile
from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.intake.conftest import FILES, Mini
from trialkit.errors import TrialkitError

ODD = st.sampled_from(
    [
        "",
        " ",
        "NA",
        "-999",
        "1e309",
        "nan",
        "=1+1",
        "@x",
        "../x",
        "\u202e12",
        "\x07",
        "1,5",
        '"',
        "'",
        "2026-02-30",
        "05/06/2026",
        "O",
        "0",
        "-1",
        "1.5",
        "Total",
        "date",
        "plot",
        "\n",
        "\r",
        "101",
        "99999999999999999999",
        "\ud7ff",
        "\U0001f41e",
        "#REF!",
        "TRUE",
        ";",
        "a;b",
        "\t",
    ]
)
CELL = st.one_of(ODD, st.text(max_size=12), st.integers().map(str), st.floats().map(str))
CHANGE = st.tuples(st.sampled_from(sorted(FILES)), st.integers(0, 8), st.integers(0, 8), CELL)
MEASURED = {"scouting": "count", "harvest": "weight", "ratings": "score", "weather": "rain"}


def read_changed(folder: Path, texts: dict[str, str | bytes]):
    mini = Mini(folder)
    for table, text in texts.items():
        mini.write(table, text)
    try:
        return mini.read()
    except TrialkitError as error:
        raise AssertionError("intake hands faults on, it does not raise") from error


def changed_texts(changes) -> dict[str, str]:
    tables = {table: [line.split(",") for line in FILES[table].splitlines()] for table in FILES}
    for table, row, column, cell in changes:
        line = tables[table][row % len(tables[table])]
        line[column % len(line)] = cell
    return {t: "\n".join(",".join(line) for line in lines) for t, lines in tables.items()}


@settings(max_examples=150, deadline=None)
@example([("fruit_sizes", 0, 1, '"'), ("fruit_sizes", 1, 0, '"')])
@given(st.lists(CHANGE, min_size=1, max_size=6))
def test_changed_cells_lead_to_tables_and_faults_never_to_a_traceback(template, changes):
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(shutil.copytree(template, Path(parent) / "mini"))
        texts = changed_texts(changes)
        read = read_changed(
            folder, {t: text.encode("utf-8", "surrogatepass") for t, text in texts.items()}
        )
        for fault in read.faults:
            assert fault.what
            assert fault.code
        for table, column in MEASURED.items():
            typed = {cell for line in texts[table].splitlines() for cell in line.split(",")}
            numbers = {one for cell in typed for one in readable(cell)}
            assert set(read.tables[table][column].dropna()) <= numbers


def readable(cell: str) -> list[float]:
    try:
        return [float(cell.strip().strip('"'))]
    except ValueError:
        return []


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(FILES)), st.binary(max_size=200), st.integers(0, 300))
def test_changed_bytes_lead_to_tables_and_faults_never_to_a_traceback(template, table, junk, at):
    data = FILES[table].encode()
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(shutil.copytree(template, Path(parent) / "mini"))
        read = read_changed(folder, {table: data[:at] + junk + data[at + len(junk) :]})
        assert set(read.tables) == set(FILES)
