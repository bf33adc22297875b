"""Randomising a site-season: seeded, recorded, and never again once data exist."""

import datetime as dt
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from trialkit.errors import Fault, StudyError
from trialkit.planning.constraints import MOST_DRAWS, draw_until
from trialkit.planning.designs import (
    complete_blocks,
    completely_randomised,
    latin,
    split_plot,
)
from trialkit.planning.entry import entry_fault
from trialkit.planning.geometry import plot_area
from trialkit.study import Study

RECORD_FILE: Final = "randomisation.csv"
RECORD: Final = ("season", "site", "design", "blocks", "constraints", "seed", "date", "version")


@dataclass(frozen=True)
class Randomisation:
    """A drawn layout: ``plots`` as people type them (intake's table), and how it came about."""

    season: int
    site: str
    plots: pd.DataFrame
    design: str
    seed: int
    constraints: tuple[str, ...] = ()

    def record(self, date: dt.date, version: str) -> dict[str, object]:
        """One line of randomisation.csv."""
        blocks = self.plots["block"].nunique()
        named = " ".join(self.constraints)
        values = (self.season, self.site, self.design, blocks, named, self.seed, date, version)
        return dict(zip(RECORD, values, strict=True))


def randomise(study: Study, season: int, site: str, seed: int | None = None) -> Randomisation:
    """Draw the layout of one site-season; the same seed (default: the study's) gives the same.

    Raises StudyError, naming the entry of study.toml, where the design cannot be laid out.
    """
    seed = study.seed if seed is None else seed
    _check_design(study, site)
    stream = zlib.crc32(f"{season} {site}".encode())
    draw = _drawer(study, site, np.random.default_rng([seed, stream]))
    layout = draw_until(draw, _kept(study))
    if layout is None:
        raise _fault(
            study,
            "layout.constraints",
            f"none of {MOST_DRAWS:,} draws for {site} keeps {', '.join(_kept(study))}",
            "Take one constraint out",
        )
    plots = plots_table(study, layout)
    return Randomisation(season, site, plots, study.layout.design, seed, _kept(study))


def write_randomisation(
    study: Study, drawn: Randomisation, date: dt.date, version: str
) -> tuple[Path, Path]:
    """Write plots.csv of the site-season and its line in randomisation.csv; return both paths.

    Raises StudyError if the site-season has data: counts taken on one layout mean nothing on
    another.
    """
    refuse_if_data(study, drawn.season, drawn.site)
    path = study.data_folder(drawn.season, drawn.site) / "plots.csv"
    record, text = study.folder / RECORD_FILE, drawn.plots.to_csv(index=False, lineterminator="\n")
    if path.is_file() and path.read_text(encoding="utf-8") == text:
        return path, record
    _refuse_if_foreign(study, drawn, path)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")
    line = pd.DataFrame([drawn.record(date, version)])
    head = not record.exists()
    line.to_csv(record, mode="a", header=head, index=False, lineterminator="\n")
    return path, record


def has_data(study: Study, season: int, site: str) -> bool:
    """Say whether anything but a list of plots was typed: a sheet with a header only is empty."""
    found = study.data_folder(season, site).glob("*")
    return any(path.name != "plots.csv" and _has_rows(path) for path in found)


def _has_rows(path: Path) -> bool:
    if path.suffix.lower() != ".csv":
        return path.suffix.lower() in {".xlsx", ".xlsm", ".ods"}
    return sum(bool(line.strip(b" ,;\t\r")) for line in path.read_bytes().split(b"\n")) > 1


def refuse_if_data(study: Study, season: int, site: str) -> None:
    """Raise StudyError if the site-season has data already."""
    if has_data(study, season, site):
        folder = study.data_folder(season, site)
        what = f"{site} {season} has data already, so its plots cannot be randomised again"
        remedy = "Keep the layout in plots; plan another season, or move the data away first"
        raise StudyError((Fault(str(folder), what=what, remedy=remedy, code="has_data"),))


def _refuse_if_foreign(study: Study, drawn: Randomisation, path: Path) -> None:
    """Never write over plots that were not drawn here."""
    record = study.folder / RECORD_FILE
    mine = f"{drawn.season},{drawn.site},"
    lines = record.read_text(encoding="utf-8").splitlines() if record.is_file() else []
    if path.is_file() and _has_rows(path) and not any(line.startswith(mine) for line in lines):
        what = "this list of plots was not drawn by trialkit, so it is not replaced"
        remedy = f"Keep it as it is, or move it away to have {drawn.site} {drawn.season} drawn"
        raise StudyError((Fault(str(path), what=what, remedy=remedy, code="has_plots"),))


def plots_table(study: Study, layout: np.ndarray) -> pd.DataFrame:
    """Table of plots, as people type it, of an array of treatment numbers (rows by columns).

    A plot is named by row and place: 203 is the third plot of row 2.
    """
    row, column = (index.ravel() + 1 for index in np.indices(layout.shape))
    step = 100 if layout.shape[1] < 100 else 1000
    blocked = study.layout.design != "completely_randomised"
    treatment = np.array(study.treatment_ids)[layout.ravel()]
    frame = pd.DataFrame({"plot": (step * row + column).astype(str)})
    frame["block"] = row if blocked else 1
    frame["treatment"] = treatment
    frame["row"], frame["column"] = row, column
    return frame.assign(plants=study.layout.plants, area=plot_area(study), lost="")


def _kept(study: Study) -> tuple[str, ...]:
    return tuple(study.layout.constraints)


def _drawer(study: Study, site: str, rng: np.random.Generator) -> Callable[[], np.ndarray]:
    count, blocks = len(study.treatments), study.layout.blocks_of(site)
    numbers = {name: number for number, name in enumerate(study.treatment_ids)}
    groups = [[numbers[name] for name in names] for names in study.layout.whole_plots.values()]
    drawers = {
        "completely_randomised": lambda: completely_randomised(count, blocks, rng),
        "complete_blocks": lambda: complete_blocks(count, blocks, rng),
        "latin_square": lambda: latin(count, rng),
        "split_plot": lambda: split_plot(groups, blocks, rng),
    }
    return drawers[study.layout.design]


def _check_design(study: Study, site: str) -> None:
    count, blocks = len(study.treatments), study.layout.blocks_of(site)
    if study.layout.design == "latin_square" and blocks != count:
        raise _fault(
            study,
            "layout.blocks",
            f"a Latin square of {count} treatments has {count} rows and columns, not {blocks}",
            f"Set blocks = {count}, or design = 'complete_blocks'",
        )
    sizes = {len(names) for names in study.layout.whole_plots.values()}
    if len(sizes) > 1:
        raise _fault(
            study,
            "layout.whole_plots",
            "the levels of the whole-plot factor have different numbers of treatments",
            "Give every level as many treatments",
        )
    if sizes and (len(study.layout.whole_plots) < 2 or 1 in sizes):
        raise _fault(
            study,
            "layout.whole_plots",
            "a split plot has two levels or more, each with two treatments or more",
            "Group the treatments anew, or set design = 'complete_blocks'",
        )


def _fault(study: Study, key: str, what: str, remedy: str) -> StudyError:
    return StudyError((entry_fault(study, key, what, remedy, "layout"),))
