"""The notebooks stay thin, are committed with their results, and take no misspelt parameter."""

import ast
import json
from pathlib import Path
from typing import Any

import pytest

from trialkit.batch.templates import read_template, source_of
from trialkit.errors import TrialkitError

FOLDER = Path(__file__).resolve().parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
MOST_CODE_CELLS, MOST_LINES = 12, 6
PROGRAM = (
    ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda, ast.For, ast.While, ast.If,
    ast.IfExp, ast.Try, ast.With, ast.Match, ast.BinOp, ast.UnaryOp, ast.BoolOp, ast.Compare,
    ast.AugAssign, ast.ListComp, ast.SetComp, ast.DictComp, ast.GeneratorExp, ast.Constant,
    ast.List, ast.Dict, ast.Set, ast.Tuple, ast.JoinedStr,
)  # fmt: skip


def cells_of(path: Path, kind: str) -> list[dict[str, Any]]:
    return [c for c in json.loads(path.read_text("utf-8"))["cells"] if c["cell_type"] == kind]


def tags(cell: dict[str, Any]) -> list[str]:
    return cell["metadata"].get("tags", [])


def programming_in(source: str) -> set[str]:
    nodes = ast.walk(ast.parse(source))
    return {type(node).__name__ for node in nodes if isinstance(node, PROGRAM)}


each_notebook = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)


def test_all_notebooks_are_there() -> None:
    names = ["across_sites.ipynb", "final_report.ipynb", "plan_trial.ipynb", "site_season.ipynb"]
    assert [path.name for path in NOTEBOOKS] == names


@each_notebook
def test_code_cells_are_few_and_short(path: Path) -> None:
    cells = cells_of(path, "code")
    assert len(cells) <= MOST_CODE_CELLS
    assert all(len(source_of(cell).splitlines()) <= MOST_LINES for cell in cells)


@each_notebook
def test_no_cell_but_the_parameters_is_a_program(path: Path) -> None:
    for cell in cells_of(path, "code"):
        if "parameters" not in tags(cell):
            assert programming_in(source_of(cell)) == set()


@each_notebook
def test_notebooks_import_trialkit_and_nothing_else(path: Path) -> None:
    code = "\n".join(source_of(cell) for cell in cells_of(path, "code"))
    imports = [n for n in ast.walk(ast.parse(code)) if isinstance(n, ast.Import | ast.ImportFrom)]
    assert [ast.unparse(node) for node in imports] == ["import trialkit as tk"]


@each_notebook
def test_only_narrative_can_be_edited_and_every_cell_has_a_name_of_its_own(path: Path) -> None:
    cells = json.loads(path.read_text("utf-8"))["cells"]
    for cell in cells:
        narrative = "narrative" in tags(cell)
        assert narrative != (cell["metadata"].get("editable") is False)
        assert not narrative or cell["cell_type"] == "markdown"
    names = [cell["id"] for cell in cells]
    assert len(set(names)) == len(names)
    assert all(name.replace("-", "").isalpha() for name in names)


@each_notebook
def test_the_committed_notebook_was_run_from_top_to_bottom(path: Path) -> None:
    counts = [cell["execution_count"] for cell in cells_of(path, "code")]
    assert counts == list(range(1, len(counts) + 1))


@each_notebook
def test_every_cell_that_shows_something_is_committed_with_what_it_shows(path: Path) -> None:
    for cell in cells_of(path, "code"):
        last = ast.parse(source_of(cell)).body[-1]
        assert bool(cell["outputs"]) == isinstance(last, ast.Expr), cell["id"]
        for output in cell["outputs"]:
            assert output["output_type"] in {"execute_result", "display_data"}, output
            picture = output["metadata"].get("image/png", {})
            assert "image/png" not in output["data"] or picture["alt"], cell["id"]


@each_notebook
def test_nothing_in_the_committed_notebook_tells_of_time_or_machine(path: Path) -> None:
    text = path.read_text("utf-8")
    for word in ("start_time", "iopub", "papermill", "0x7f", str(Path.home()), "/tmp/"):
        assert word not in text


@each_notebook
def test_a_misspelt_parameter_is_an_error_and_not_the_defaults(path: Path) -> None:
    template = read_template(path)
    assert set(template.parameters) >= {"study", "output"}
    with pytest.raises(TrialkitError, match="no parameter 'stduy'"):
        template.accept({"stduy": "x"})


def test_the_guard_against_programs_sees_them() -> None:
    for source in ("x = 1", "x = a + b", "f('y')", "[a for a in b]", "if a:\n    b()"):
        assert programming_in(source)
    assert programming_in("import trialkit as tk\nreport = tk.open(a=b)\nreport.show()") == set()
