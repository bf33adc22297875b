"""A small study and small notebooks, so that the batch is tested without the statistics."""

import shutil
from pathlib import Path

import nbformat.v4 as nb4
import pytest

EXAMPLE = Path(__file__).resolve().parents[2] / "data_examples" / "eggplant_flea_beetle"
HEADER = "season,site,measure,treatment,verdict,direction"

SITE_SEASON = f"""
from pathlib import Path
plots = (Path(study) / "data" / str(season) / site / "plots.csv").read_text()
if "hang" in plots:
    import time
    time.sleep(60)
if "die" in plots:
    import os
    os._exit(9)
if "bad" in plots:
    class DataError(Exception): ...
    raise DataError(f"data/{{season}}/{{site}}/plots.csv:2:block: it is bad. Mend it.")
if "broken" in plots:
    raise ZeroDivisionError("division by zero")
row = f"{{season}},{{site}},flea_beetle_days,netting,worthwhile,{{len(plots)}}"
if output:
    (Path(output) / "findings.csv").write_text({HEADER!r} + chr(10) + row + chr(10))
"""
ACROSS = """
if output:
    from pathlib import Path
    (Path(output) / "findings.csv").write_text("measure,treatment,verdict,direction" + chr(10))
"""


def notebook(parameters: str, code: str):
    cells = [
        nb4.new_markdown_cell("## What was found", id="found"),
        nb4.new_code_cell(parameters, id="parameters", metadata={"tags": ["parameters"]}),
        nb4.new_code_cell(code, id="work"),
        nb4.new_code_cell("print('done')", id="last"),
    ]
    spec = {"display_name": "Python 3", "language": "python", "name": "python3"}
    return nb4.new_notebook(cells=cells, metadata={"kernelspec": spec})


@pytest.fixture
def notebooks(tmp_path: Path) -> Path:
    import nbformat

    folder = tmp_path / "notebooks"
    folder.mkdir()
    site_season = notebook('study = ""\nseason = 0\nsite = ""\noutput = ""', SITE_SEASON)
    nbformat.write(site_season, folder / "site_season.ipynb")
    for name in ("across_sites", "final_report"):
        whole = notebook('study = ""\nreports = ""\noutput = ""', ACROSS)
        nbformat.write(whole, folder / f"{name}.ipynb")
    return folder


@pytest.fixture
def study_folder(tmp_path: Path) -> Path:
    """The example's description with one short file for each of two site-seasons."""
    folder = tmp_path / "study"
    folder.mkdir()
    text = (EXAMPLE / "study.toml").read_text(encoding="utf-8")
    # The decision on record is about a season that this study does not have.
    before, decided = text.split("[[protocol_decisions]]")
    text = before + decided[decided.index("# --- Heat") :]
    head, seasons = text.split("[[seasons]]", 1)
    one, *rest = seasons.split("[[seasons]]")
    tail = rest[-1].split("\n\n", 1)[1]
    one = one.rstrip() + '\nsites = ["alder_bench", "cedar_flat"]\n\n'
    (folder / "study.toml").write_text(f"{head}[[seasons]]{one}{tail}", encoding="utf-8")
    for site in ("alder_bench", "cedar_flat"):
        place = folder / "data" / "2024" / site
        place.mkdir(parents=True)
        (place / "plots.csv").write_text("plot,block,treatment\n101,1,check\n")
    yield folder
    shutil.rmtree(folder, ignore_errors=True)
