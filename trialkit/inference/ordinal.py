"""Visual scores: rank test within blocks, medians, and shifts that use only order and steps."""

import numpy as np
import pandas as pd
from scipy import stats

from trialkit.inference import shifts
from trialkit.inference.design import Design
from trialkit.inference.equal_treatments import FEWEST_ARRANGEMENTS
from trialkit.inference.estimates import TEST_COLUMNS, MarginalMeans, ModelResult
from trialkit.inference.randomisation_test import RandomisationTest, within_blocks


def fit_ordinal(design: Design, level: float = 0.95) -> ModelResult:
    """Compare ordinal scores (0 to 10, say) by ranks; no analysis of variance of the scores.

    Test: Friedman's of ranks within blocks (1937, J. Am. Stat. Assoc. 32:675), with lost plots as
    in Skillings & Mack (1981, Technometrics 23:171), ties allowed for; p from the arrangements of
    the layout, F as in Iman & Davenport (1980, Commun. Stat. A9:571). Without blocks it is Kruskal
    and Wallis's. Locations and differences: ``shifts``.

    >>> import pandas as pd
    >>> from trialkit.inference.design import make_design
    >>> frame = pd.DataFrame({"score": [7, 3, 2, 6, 4, 2, 8, 3, 3, 6, 2, 1],
    ...                       "cover": ["none", "straw", "net"] * 4,
    ...                       "rep": [1, 1, 1, 2, 2, 2, 3, 3, 3, 4, 4, 4]})
    >>> design = make_design(frame, response="score", treatment="cover", block="rep",
    ...                      family="ordinal", control="none")
    >>> result = fit_ordinal(design)
    >>> {k: float(result.extra["median: " + k]) for k in ("none", "straw", "net")}
    {'none': 6.5, 'straw': 3.0, 'net': 2.0}
    """
    score, treatment, block = _arrays(design)
    ranks = scaled_ranks(score, block)
    drawn = within_blocks(ranks, treatment, block)
    found = shifts.locate(score, treatment, block)
    return ModelResult(
        family="ordinal",
        method="rank test within blocks; Hodges-Lehmann differences in score points",
        terms=("block", "treatment") if block.any() else ("treatment",),
        notes=_notes(design, score, treatment, drawn),
        tests=_tests(drawn, block),
        means=_means(design, found, treatment),
        record={"randomisation": drawn.words},
        extra=_extra(design, score, treatment, drawn, found),
    )


def scaled_ranks(score: np.ndarray, block: np.ndarray) -> np.ndarray:
    """Return mid-ranks within blocks about their middle, times ``sqrt(12 / (plots + 1))``.

    The factor is that of Skillings and Mack for blocks of unequal size. score, block: (n,).

    >>> scaled_ranks(np.array([3.0, 9, 5]), np.zeros(3, dtype=int)).round(3).tolist()
    [-1.732, 1.732, 0.0]
    """
    ranks = np.empty(len(score))
    for level in np.unique(block):
        inside = block == level
        size = int(inside.sum())
        ranks[inside] = (stats.rankdata(score[inside]) - (size + 1) / 2) * np.sqrt(12 / (size + 1))
    return ranks


def _arrays(design: Design) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    frame = design.frame
    groups = [frame[name] for name in ("environment", "block") if name in frame]
    block = np.zeros(len(frame), dtype=int)
    for group in groups:
        codes = group.cat.codes.to_numpy().astype(int)
        block = np.unique(block * (codes.max() + 1) + codes, return_inverse=True)[1]
    treatment = frame["treatment"].cat.codes.to_numpy().astype(int)
    return frame["response"].to_numpy(dtype=float), treatment, block


def _tests(drawn: RandomisationTest, block: np.ndarray) -> pd.DataFrame:
    """Return the test row; F is Iman and Davenport's form of the rank statistic."""
    total = float(len(block) - len(np.unique(block)))
    df1, df2 = drawn.df, int(total) - drawn.df
    left = max(total - drawn.statistic, 1e-9 * total)
    F = (drawn.statistic / df1) / (left / df2)
    p = drawn.p if drawn.arrangements >= FEWEST_ARRANGEMENTS else float(stats.f.sf(F, df1, df2))
    return pd.DataFrame([("treatment", df1, df2, F, p)], columns=list(TEST_COLUMNS))


def _means(design: Design, found: shifts.Locations, treatment: np.ndarray) -> MarginalMeans:
    k = len(design.treatments)
    return MarginalMeans(
        treatments=design.treatments,
        estimate=found.location,
        covariance=found.covariance,
        df=np.full(k, float(found.df)),
        pair_df=np.full((k, k), float(found.df)),
        link="identity",
        n=np.bincount(treatment, minlength=k),
    )


def _extra(
    design: Design,
    score: np.ndarray,
    treatment: np.ndarray,
    drawn: RandomisationTest,
    found: shifts.Locations,
) -> dict[str, float]:
    medians = {
        f"median: {label}": float(np.median(score[treatment == i]))
        for i, label in enumerate(design.treatments)
    }
    return {
        "rank_statistic": drawn.statistic,
        "p_chi_square": drawn.chi_square_p,
        "p_randomisation": drawn.p,
        "arrangements": float(drawn.arrangements),
        "scale": found.scale,
        **medians,
    }


def _notes(
    design: Design, score: np.ndarray, treatment: np.ndarray, drawn: RandomisationTest
) -> tuple[str, ...]:
    medians = "; ".join(
        f"{label} {_median_words(score[treatment == i])}"
        for i, label in enumerate(design.treatments)
    )
    if drawn.arrangements >= FEWEST_ARRANGEMENTS:
        test = f"its p value comes from {drawn.words} of labels within blocks, exact by design."
    else:
        test = (
            f"its p value is that of the F form of the rank statistic, as there are only "
            f"{drawn.arrangements} arrangements (randomisation p = {drawn.p:.3g})."
        )
    return (
        f"Scores were compared by their ranks within blocks; {test}",
        "A mean in the table of scores is a location: differences between treatments are medians "
        "of plot differences within blocks (Hodges-Lehmann), in score points.",
        f"Medians, with lowest and highest plot and the chance that these enclose the true "
        f"median: {medians}.",
    )


def _median_words(values: np.ndarray) -> str:
    chance = 1 - 2.0 ** (1 - len(values))
    return f"{np.median(values):g} ({values.min():g} to {values.max():g}, {100 * chance:.3g} %)"
