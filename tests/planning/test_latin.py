"""Latin squares: how many there are, and that each is as likely as any other."""

from collections import Counter
from math import factorial

import numpy as np
import pytest
from scipy.stats import chisquare

from trialkit.planning.latin import latin_square, markov_square, reduced_squares


def is_latin(square: np.ndarray) -> bool:
    want = np.arange(len(square))
    rows, columns = np.sort(square, axis=1), np.sort(square, axis=0)
    return bool((rows == want).all() and (columns == want[:, None]).all())


@pytest.mark.parametrize(("order", "count"), [(3, 12), (4, 576), (5, 161_280)])
def test_number_of_squares(order, count):
    """Counts of OEIS A002860 (Latin squares) through A000315 (reduced ones)."""
    assert len(reduced_squares(order)) * factorial(order) * factorial(order - 1) == count


@pytest.mark.parametrize("order", [1, 2, 3, 4, 5, 6, 7, 10])
def test_every_row_and_column_has_every_treatment(order):
    square = latin_square(order, np.random.default_rng(order))
    assert square.shape == (order, order)
    assert is_latin(square)


def uniform(draw, squares: int, draws: int) -> float:
    counts = Counter(draw().tobytes() for _ in range(draws))
    assert len(counts) <= squares
    observed = [*counts.values(), *[0] * (squares - len(counts))]
    return chisquare(observed).pvalue


@pytest.mark.parametrize(("order", "squares"), [(3, 12), (4, 576)])
def test_all_squares_are_equally_likely(order, squares):
    rng = np.random.default_rng(2024)
    assert uniform(lambda: latin_square(order, rng), squares, 20 * squares) > 0.001


@pytest.mark.parametrize(("order", "squares", "visits"), [(3, 12, 30), (4, 576, 60)])
def test_the_markov_chain_reaches_all_squares_alike(order, squares, visits):
    rng = np.random.default_rng(7)
    assert uniform(lambda: markov_square(order, rng, visits), squares, 8 * squares) > 0.001


def test_squares_of_order_five_have_every_reduced_form_alike():
    rng, counts = np.random.default_rng(5), Counter()
    for _ in range(5600):
        square = latin_square(5, rng)
        square = square[:, np.argsort(square[0])]
        counts[square[np.argsort(square[:, 0])].tobytes()] += 1
    assert len(counts) == 56
    assert chisquare(list(counts.values())).pvalue > 0.001


def test_a_large_square_favours_no_symbol_in_any_cell():
    rng = np.random.default_rng(11)
    squares = np.array([latin_square(6, rng) for _ in range(300)])
    counts = [np.bincount(squares[:, r, c], minlength=6) for r in range(6) for c in range(6)]
    # 36 cells of 6 symbols with fixed line sums leave 5³ free numbers
    statistic = sum(((count - 50) ** 2 / 50).sum() for count in counts)
    assert statistic < 36 * 5 + 4 * np.sqrt(2 * 36 * 5)
