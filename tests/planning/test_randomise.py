"""Randomising: fair, seeded, recorded, constrained on request, refused once data exist."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chisquare

from trialkit.errors import StudyError
from trialkit.planning.constraints import CHECKS, draw_until
from trialkit.planning.designs import complete_blocks, completely_randomised, split_plot
from trialkit.planning.randomise import randomise, write_randomisation

TODAY = dt.date(2026, 4, 1)
DRAWS = 4000


def layouts(draw, draws: int = DRAWS) -> np.ndarray:
    rng = np.random.default_rng(99)
    return np.array([draw(rng) for _ in range(draws)])


def place_p(drawn: np.ndarray) -> float:
    """p of a chi-square test that treatment 0 is equally often in every place of a row."""
    return chisquare((drawn == 0).sum(axis=(0, 1))).pvalue


def neighbour_p(drawn: np.ndarray) -> float:
    """p of a chi-square test that all ordered pairs of neighbours are equally often seen."""
    pairs = drawn.max() + 1
    codes = drawn[:, :, :-1] * pairs + drawn[:, :, 1:]
    counts = np.bincount(codes.ravel(), minlength=pairs**2).reshape(pairs, pairs)
    return chisquare(counts[~np.eye(pairs, dtype=bool)]).pvalue


def test_blocks_put_every_treatment_equally_often_in_every_place():
    drawn = layouts(lambda rng: complete_blocks(5, 1, rng))
    for treatment in range(5):
        assert chisquare((drawn == treatment).sum(axis=(0, 1))).pvalue > 0.001


def test_blocks_put_every_treatment_equally_often_beside_every_other():
    assert neighbour_p(layouts(lambda rng: complete_blocks(5, 1, rng))) > 0.001


def test_a_completely_random_layout_favours_no_place():
    drawn = layouts(lambda rng: completely_randomised(4, 3, rng))
    assert chisquare((drawn == 0).sum(axis=0).ravel()).pvalue > 0.001
    assert (np.sort(drawn.reshape(DRAWS, -1)) == np.repeat(np.arange(4), 3)).all()


def test_constraints_keep_the_draw_fair():
    def draw(rng):
        return draw_until(lambda: complete_blocks(4, 3, rng), ["not_beside_itself"])

    drawn = layouts(draw, 2000)
    assert place_p(drawn) > 0.001
    assert not (drawn[:, 1:] == drawn[:, :-1]).any()


def test_treatments_of_a_whole_plot_stay_together():
    drawn = layouts(lambda rng: split_plot([[0, 1], [2, 3], [4, 5]], 2, rng), 900)
    assert (drawn.reshape(-1, 2) // 2 == drawn.reshape(-1, 2)[:, :1] // 2).all()
    assert chisquare((drawn == 0).sum(axis=(0, 1))).pvalue > 0.001


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("not_same_position", [[0, 1, 2], [1, 0, 2], [0, 2, 1]], [[0, 1, 2], [0, 2, 1]]),
        ("not_beside_itself", [[0, 1, 2], [1, 2, 0]], [[0, 1, 2], [0, 2, 1]]),
        ("spread", [[0, 1, 2], [1, 2, 0], [2, 0, 1]], [[0, 1, 2], [1, 2, 0], [0, 1, 2]]),
    ],
)
def test_each_constraint_knows_good_from_bad(name, good, bad):
    assert CHECKS[name](np.array(good))
    assert not CHECKS[name](np.array(bad))


def test_constraints_that_cannot_hold_are_said_to_be_so():
    assert draw_until(lambda: np.array([[0], [0]]), ["not_beside_itself"]) is None


def test_constraints_that_no_layout_keeps_name_the_entry(planned):
    study = planned('constraints = ["not_beside_itself"]\nblocks = 2')
    two = study.model_copy(update={"treatments": study.treatments[:1] * 1})
    two._folder = study.folder
    with pytest.raises(StudyError, match=r"layout.constraints: none of 20,000 draws"):
        randomise(two, 2026, "alder_bench")


def test_the_same_seed_gives_the_same_plots(planned):
    study = planned("blocks_at = { brook_terrace = 3 }")
    one, two = (randomise(study, 2026, "alder_bench").plots for _ in range(2))
    pd.testing.assert_frame_equal(one, two)
    assert not one["treatment"].equals(randomise(study, 2026, "alder_bench", 5).plots["treatment"])
    assert not one["treatment"].equals(randomise(study, 2026, "cedar_flat").plots["treatment"])
    assert randomise(study, 2026, "brook_terrace").plots["block"].nunique() == 3


@pytest.mark.parametrize(
    "layout",
    [
        'design = "completely_randomised"',
        'design = "complete_blocks"\nconstraints = ["not_beside_itself", "spread"]',
        'design = "latin_square"\nblocks = 5',
    ],
)
def test_every_design_gives_every_treatment_as_often(planned, layout):
    plots = randomise(planned(layout), 2026, "alder_bench").plots
    assert plots["treatment"].value_counts().nunique() == 1
    assert plots["plot"].is_unique


def test_a_split_plot_needs_levels_of_equal_size(planned):
    study = planned(
        'design = "split_plot"',
        '[layout.whole_plots]\ncovered = ["netting", "kaolin"]\n'
        'open = ["check", "silver_mulch", "clover"]',
    )
    with pytest.raises(StudyError, match=r"whole_plots.*different numbers"):
        randomise(study, 2026, "alder_bench")


def test_a_latin_square_with_too_few_rows_names_the_entry(planned):
    study = planned('design = "latin_square"\nblocks = 4')
    with pytest.raises(StudyError, match=r"layout.blocks.*Set blocks = 5"):
        randomise(study, 2026, "alder_bench")


def test_the_draw_is_recorded_once(planned):
    study = planned()
    drawn = randomise(study, 2026, "alder_bench")
    plots, record = write_randomisation(study, drawn, TODAY, "9.9")
    write_randomisation(study, drawn, TODAY, "9.9")
    line = pd.read_csv(record, dtype=str)
    assert len(line) == 1
    assert line.loc[0, ["seed", "date", "version"]].tolist() == [
        str(study.seed),
        "2026-04-01",
        "9.9",
    ]
    assert pd.read_csv(plots, dtype=str)["treatment"].equals(drawn.plots["treatment"].astype("str"))


def test_another_seed_may_follow_while_there_are_no_data(planned):
    study = planned()
    for seed in (1, 2):
        drawn = randomise(study, 2026, "alder_bench", seed)
        _, record = write_randomisation(study, drawn, TODAY, "9.9")
    assert pd.read_csv(record)["seed"].tolist() == [1, 2]


def test_a_site_season_with_data_is_not_randomised_again(planned):
    study = planned()
    drawn = randomise(study, 2026, "alder_bench")
    plots, _ = write_randomisation(study, drawn, TODAY, "9.9")
    before = plots.read_bytes()
    (plots.parent / "scouting.csv").write_text("date,plot\n2026-06-01,101\n")
    with pytest.raises(StudyError, match="has data already"):
        write_randomisation(study, randomise(study, 2026, "alder_bench", 2), TODAY, "9.9")
    assert plots.read_bytes() == before


def test_plots_drawn_elsewhere_are_not_replaced(planned):
    study = planned()
    folder = study.data_folder(2026, "alder_bench")
    folder.mkdir(parents=True)
    (folder / "plots.csv").write_text("plot,block\n1,1\n")
    with pytest.raises(StudyError, match="not drawn by trialkit"):
        write_randomisation(study, randomise(study, 2026, "alder_bench"), TODAY, "9.9")


def test_empty_sheets_of_a_new_study_are_not_data(planned):
    study = planned()
    folder = study.data_folder(2026, "alder_bench")
    folder.mkdir(parents=True)
    for name in ("plots", "scouting", "harvest"):
        (folder / f"{name}.csv").write_text("date,plot\n\n")
    path, _ = write_randomisation(study, randomise(study, 2026, "alder_bench"), TODAY, "9.9")
    assert len(pd.read_csv(path)) == 20
