"""The grid of price and cost, and effects against a condition."""

import numpy as np
import pandas as pd
import pytest

from tests.figures.boxes import assert_well_set
from tests.figures.conftest import forest_frames, many_treatments
from trialkit import figures

CONDITIONS = pd.DataFrame(
    [(2024 + n // 3, site, 120.0 + 35 * n)
     for n, site in enumerate(("alder_bench", "brook_terrace", "cedar_flat") * 3)],
    columns=["season", "site", "pressure"],
)  # fmt: skip


def grid_frame(names):
    rows = [
        (p, c, 0.55 * p, names[(i + j) % len(names)], 900.0, 100.0, 0.87)
        for i, p in enumerate((0.5, 0.75, 1.0, 1.25, 1.5))
        for j, c in enumerate((0.5, 0.75, 1.0, 1.5, 2.0))
    ]
    columns = ["price_factor", "cost_factor", "price", "best", "net_return", "gain", "chance"]
    frame = pd.DataFrame(rows, columns=columns)
    return frame.assign(chance=frame["chance"].where(frame["best"] != names[0]))


def test_the_grid_is_well_set(study, monkeypatch):
    grid = grid_frame(study.treatment_ids)
    picture = assert_well_set(lambda: figures.price_cost_grid(study, grid), monkeypatch)
    pd.testing.assert_frame_equal(picture.data, grid)


def test_the_grid_of_eight_long_names_is_well_set(study, monkeypatch):
    eight = many_treatments(study)
    grid = grid_frame(eight.treatment_ids)
    assert_well_set(lambda: figures.price_cost_grid(eight, grid), monkeypatch)


def test_the_alternative_text_says_what_is_best_today(study):
    picture = figures.price_cost_grid(study, grid_frame(["check", "netting"]))
    assert "At today's price and costs it is Check." in picture.alt
    assert "Check in 13 and Netting in 12" in picture.alt


def test_without_prices_the_picture_says_so(study):
    assert "no prices" in figures.price_cost_grid(study, grid_frame(["check"]).iloc[:0]).alt


@pytest.mark.parametrize("treatments", [("netting",), ("netting", "silver_mulch", "kaolin")])
def test_effects_against_pressure_are_well_set(study, monkeypatch, treatments):
    own, _ = forest_frames(treatments=treatments)
    draw = lambda: figures.pressure(study, own, CONDITIONS, "pressure", "beetle days in the check")  # noqa: E731
    picture = assert_well_set(draw, monkeypatch)
    assert len(picture.data) == 9 * len(treatments)
    assert "where beetle days in the check is lowest (120)" in picture.alt


def test_a_place_without_the_condition_has_no_mark(study):
    own, _ = forest_frames()
    holed = CONDITIONS.assign(pressure=CONDITIONS["pressure"].where(CONDITIONS.index > 0, np.nan))
    assert len(figures.pressure(study, own, holed, "pressure", "pressure").data) == 8
