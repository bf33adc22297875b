"""The randomisation test: what the layout itself says, whatever the distribution of the counts.

If no treatment did anything, each plot would have given the same response under any label, and
only the draw decided which label fell on it. The test compares the differences found with those
of all other draws that the layout allowed.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import factorial

import numpy as np
from scipy import stats

MOST_ARRANGEMENTS = 200_000
DRAWS = 9_999
SEED = 20_011
SLACK = 1e-9


@dataclass(frozen=True)
class RandomisationTest:
    """The test of one data set: statistic, p, arrangements compared, whether these are all."""

    statistic: float
    p: float
    arrangements: int
    exact: bool
    chi_square_p: float
    df: int

    @property
    def words(self) -> str:
        """How the p-value was obtained."""
        if self.exact:
            return f"all {self.arrangements:,} arrangements"
        return f"{self.arrangements:,} arrangements drawn with seed {SEED}"


def within_blocks(
    scores: np.ndarray, treatment: np.ndarray, block: np.ndarray, draws: int = DRAWS
) -> RandomisationTest:
    """Test equal treatments by re-drawing labels within blocks.

    scores (n,): one number per plot, fixed before labels are looked at (responses, residuals of a
    model without treatment, ranks). treatment, block (n,): codes from 0. With U the treatment
    totals of the scores, the statistic is ``(U - E U)' V^- (U - E U)``, with mean and covariance
    over all arrangements; on ranks within blocks it is Friedman's. All arrangements are compared
    where there are at most 200,000; else ``draws`` random ones, the p-value being
    (1 + number at least as large) / (1 + draws), which is valid for any number of draws (Phipson &
    Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39). Method: Fisher 1935; Edgington & Onghena 2007.

    >>> import numpy as np
    >>> test = within_blocks(np.array([0.0, 5, 1, 6, 0, 4]), np.array([0, 1] * 3),
    ...                      np.array([0, 0, 1, 1, 2, 2]))
    >>> test.p, test.arrangements, test.exact
    (0.25, 4, True)
    """
    k = int(treatment.max()) + 1
    mean, inverse, df = moments(scores[None, :], treatment, block)
    centre = np.bincount(treatment, scores, k)
    observed = float(quadratic(centre[None, None, :] - mean, inverse)[0, 0])
    number = arrangements(treatment, block)
    if number <= MOST_ARRANGEMENTS:
        sums = _all_sums(scores, treatment, block)
        found = quadratic(sums[None] - mean, inverse)[0]
        p = float((found >= _reach(observed)).mean())
    else:
        layout = tuple(treatment.tolist()), tuple(block.tolist())
        labels = seeded_labels(*layout, draws)
        found = quadratic(label_sums(scores[None, :], labels, k) - mean, inverse)[0]
        p = float((1 + (found >= _reach(observed)).sum()) / (1 + draws))
    exact = number <= MOST_ARRANGEMENTS
    return RandomisationTest(
        observed, p, len(found), exact, float(stats.chi2.sf(observed, max(df, 1))), df
    )


def many(
    scores: np.ndarray,
    treatment: np.ndarray,
    block: np.ndarray,
    draws: int,
    random: np.random.Generator,
) -> np.ndarray:
    """Return Monte-Carlo p-values (d,) of d data sets (d, n) that share layout and draws."""
    k = int(treatment.max()) + 1
    mean, inverse, _ = moments(scores, treatment, block)
    labels = np.vstack([treatment[None, :], draw_labels(treatment, block, draws, random)])
    found = quadratic(label_sums(scores, labels, k) - mean[:, None, :], inverse)
    observed = found[:, :1]
    return (found >= observed - SLACK * (1 + observed)).sum(1) / (1 + draws)


def moments(
    scores: np.ndarray, treatment: np.ndarray, block: np.ndarray
) -> tuple[np.ndarray, np.ndarray, int]:
    """Return mean (d, k) and generalised inverse covariance (d, k, k) of the treatment totals.

    Within a block of N plots with score variance s² (divisor N - 1), labels n_i and n_j of two
    treatments have covariance ``s² (n_i [i = j] - n_i n_j / N)``. Also returns the rank.
    """
    k = int(treatment.max()) + 1
    mean = np.zeros((len(scores), k))
    covariance = np.zeros((len(scores), k, k))
    shape = np.zeros((k, k))
    for level in np.unique(block):
        inside = block == level
        count = np.bincount(treatment[inside], minlength=k).astype(float)
        size = count.sum()
        pattern = np.diag(count) - np.outer(count, count) / size
        values = scores[:, inside]
        mean += values.mean(1, keepdims=True) * count
        if size > 1:
            covariance += values.var(1, ddof=1)[:, None, None] * pattern
            shape += pattern
    return mean, np.linalg.pinv(covariance, hermitian=True), int(np.linalg.matrix_rank(shape))


def quadratic(difference: np.ndarray, inverse: np.ndarray) -> np.ndarray:
    """Return the statistic (d, r) of differences (d, r, k)."""
    return ((difference @ inverse) * difference).sum(-1)


def label_sums(scores: np.ndarray, labels: np.ndarray, k: int) -> np.ndarray:
    """Return treatment totals (d, r, k) of scores (d, n) under labels (r, n)."""
    return np.stack([scores @ (labels == level).T.astype(float) for level in range(k)], axis=-1)


def draw_labels(
    treatment: np.ndarray, block: np.ndarray, draws: int, random: np.random.Generator
) -> np.ndarray:
    """Return ``draws`` random arrangements (draws, n): labels shuffled within each block."""
    labels = np.empty((draws, len(treatment)), dtype=treatment.dtype)
    for level in np.unique(block):
        inside = np.flatnonzero(block == level)
        labels[:, inside] = random.permuted(np.tile(treatment[inside], (draws, 1)), axis=1)
    return labels


@lru_cache(maxsize=2)
def seeded_labels(treatment: tuple[int, ...], block: tuple[int, ...], draws: int) -> np.ndarray:
    """Return the labels that ``draw_labels`` draws with SEED; measures of a trial share them."""
    codes, levels = np.array(treatment, dtype=np.int16), np.array(block)
    blocks = [np.flatnonzero(levels == level) for level in np.unique(levels)]
    labels = np.empty((draws, len(codes)), dtype=np.int16)
    orders = _seeded_orders(tuple(map(len, blocks)), draws)
    for inside, order in zip(blocks, orders, strict=True):
        labels[:, inside] = codes[inside][order]
    return labels


@lru_cache(maxsize=4)
def _seeded_orders(sizes: tuple[int, ...], draws: int) -> tuple[np.ndarray, ...]:
    """Return the (draws, size) places that plots of each block go to.

    Which labels are shuffled does not change how, so trials of equal blocks share the draws.
    """
    random = np.random.default_rng(SEED)
    tiles = (np.tile(np.arange(size, dtype=np.int16), (draws, 1)) for size in sizes)
    return tuple(random.permuted(tile, axis=1) for tile in tiles)


def arrangements(treatment: np.ndarray, block: np.ndarray) -> int:
    """Return how many different arrangements have to be compared."""
    numbers = []
    for level in np.unique(block):
        count = np.bincount(treatment[block == level])
        number = factorial(int(count.sum()))
        for repeat in count:
            number //= factorial(int(repeat))
        numbers.append(number)
    free = numbers[1:] if _is_complete(treatment, block) else numbers
    return int(np.prod([float(number) for number in free])) if free else 1


def _is_complete(treatment: np.ndarray, block: np.ndarray) -> bool:
    """Return whether each block holds each treatment once, and there are more than one.

    Renaming the treatments then changes no statistic, so the first block may stay as it is.
    """
    k = int(treatment.max()) + 1
    table = np.zeros((int(block.max()) + 1, k))
    np.add.at(table, (block, treatment), 1)
    return len(table) > 1 and bool((table == 1).all())


def _all_sums(scores: np.ndarray, treatment: np.ndarray, block: np.ndarray) -> np.ndarray:
    """Return the treatment totals of every arrangement, shape (arrangements, k)."""
    k = int(treatment.max()) + 1
    sums = np.zeros((1, k))
    fixed = _is_complete(treatment, block)
    for level in np.unique(block):
        inside = np.flatnonzero(block == level)
        rows = [treatment[inside]] if fixed else list(_orders(treatment[inside]))
        totals = np.array([np.bincount(row, scores[inside], k) for row in rows])
        sums = (sums[:, None, :] + totals[None, :, :]).reshape(-1, k)
        fixed = False
    return sums


def _orders(labels: np.ndarray) -> Iterator[np.ndarray]:
    """Yield the different orders of a block's labels."""
    n = len(labels)
    values, counts = np.unique(labels, return_counts=True)
    if len(values) == 1:
        yield labels
        return
    for places in itertools.combinations(range(n), int(counts[0])):
        rest = np.setdiff1d(np.arange(n), places)
        for order in _orders(labels[labels != values[0]]):
            row = np.empty_like(labels)
            row[list(places)] = values[0]
            row[rest] = order
            yield row


def _reach(observed: float) -> float:
    """Return the value from which on an arrangement counts as at least as extreme."""
    return observed - SLACK * (1 + observed)
