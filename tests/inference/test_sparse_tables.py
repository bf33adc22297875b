"""Degrees of freedom where insects are few: against tables drawn with the same totals."""

import numpy as np
import pytest
from scipy import stats

from trialkit.inference import sparse_tables
from trialkit.inference.families import Binomial, Poisson

BLOCKS, TREATMENTS = 3, 5
FACTORS = [np.tile(np.arange(TREATMENTS), BLOCKS), np.repeat(np.arange(BLOCKS), TREATMENTS)]
FULL = (BLOCKS - 1) * (TREATMENTS - 1)


def of(table: np.ndarray, df: float = FULL, factors=FACTORS) -> float:
    response = table.reshape(1, -1).astype(float)
    size = np.ones(response.size)
    return float(sparse_tables.degrees_of_freedom(Poisson(), factors, response, size, df)[0])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_they_match_the_variance_of_pearson_in_tables_with_the_same_totals(seed):
    rng = np.random.default_rng(seed)
    table = rng.poisson(1.3, (BLOCKS, TREATMENTS)) + np.eye(BLOCKS, TREATMENTS, dtype=int)
    table[0] += 1
    rows, columns = table.sum(1), table.sum(0)
    drawn = stats.random_table(rows, columns).rvs(40_000, random_state=rng)
    expected = np.outer(rows, columns) / table.sum()
    pearson = ((drawn - expected) ** 2 / expected).sum((1, 2))
    # The variance of 40,000 draws is known to about 1 %.
    assert of(table) == pytest.approx(2 * pearson.mean() ** 2 / pearson.var(), rel=0.05)


def test_many_insects_give_the_usual_ones():
    assert of(np.full((BLOCKS, TREATMENTS), 10_000)) == pytest.approx(FULL, rel=1e-3)


def test_they_grow_as_insects_get_fewer():
    found = [of(np.full((BLOCKS, TREATMENTS), count)) for count in (8, 4, 2, 1)]
    assert found == sorted(found)
    assert found[-1] == pytest.approx(12)


def test_unequal_totals_take_none_away():
    table = np.zeros((BLOCKS, TREATMENTS))
    table[:, 0] = table[0] = 1
    table[0, 0] = 10
    assert of(table) == FULL


def test_a_lost_plot_keeps_the_ratio_to_the_plots_that_are_left():
    whole = np.ones((BLOCKS, TREATMENTS))
    factors = [codes[1:] for codes in FACTORS]
    found = of(whole.ravel()[1:], FULL - 1, factors)
    assert 1.3 * (FULL - 1) < found < 1.8 * (FULL - 1)


def test_treatments_without_blocks_share_out_their_own_insects():
    # Three treatments of four plots, T insects each: 9 degrees of freedom over 1 - 1 / T.
    table = np.tile([[1.0], [1.0], [0.0], [0.0]], (3, 1))
    assert of(table, 9, [np.repeat(np.arange(3), 4)]) == pytest.approx(9 / (1 - 1 / 2))


def test_a_share_counts_its_rarer_side():
    events = np.full((1, 15), 1.0)
    few = sparse_tables.degrees_of_freedom(Binomial(), FACTORS, events, np.full(15, 1e6), FULL)
    rest = sparse_tables.degrees_of_freedom(
        Binomial(), FACTORS, 1e6 - events, np.full(15, 1e6), FULL
    )
    assert few[0] == pytest.approx(of(events), rel=1e-4)
    assert rest == pytest.approx(few)


def test_a_latin_square_keeps_its_own():
    cells = np.arange(9)
    square = [(cells + cells // 3) % 3, cells // 3, cells % 3]
    assert of(np.ones(9), 2, square) == 2
