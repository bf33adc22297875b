"""Is there any difference between treatments? By the layout's own draws, and by the model."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from trialkit.inference import dispersion, families, glm
from trialkit.inference.plot_counts import PlotCounts
from trialkit.inference.randomisation_test import RandomisationTest, within_blocks
from trialkit.inference.treatment_model import wald

FEWEST_ARRANGEMENTS = 200


@dataclass(frozen=True)
class TreatmentTest:
    """The test of equal treatments: F of the model with its p, and the randomisation test."""

    df1: int
    df2: int
    F: float
    model_p: float
    randomisation: RandomisationTest

    @property
    def by_randomisation(self) -> bool:
        """Whether the reported p is that of the randomisation test."""
        return self.randomisation.arrangements >= FEWEST_ARRANGEMENTS

    @property
    def p(self) -> float:
        """The p value to report."""
        return self.randomisation.p if self.by_randomisation else self.model_p


def compare_treatments(
    plots: PlotCounts, estimate: np.ndarray, covariance: np.ndarray, df: int
) -> TreatmentTest:
    """Test equal treatments: Wald F of all means, and the randomisation test within blocks."""
    F = float(wald(estimate[None], covariance[None])[0])
    df1 = len(estimate) - 1
    block = plots.layout.blocks[0] if plots.layout.blocks else np.zeros(len(plots.rows), int)
    scores = block_scores(plots.family, block, plots.response[None], plots.size)[0]
    randomisation = within_blocks(scores, plots.layout.treatment, block)
    return TreatmentTest(df1, df, F, float(stats.f.sf(F, df1, df)), randomisation)


def block_scores(
    family: families.Family, block: np.ndarray, response: np.ndarray, size: np.ndarray
) -> np.ndarray:
    """Return what each plot adds to the score of its treatment, under a model of blocks alone.

    ``(y - m) / (1 + a e)``, with m the block's mean and clumping a by moments over all blocks: the
    score of a negative binomial (or beta-binomial). Plots in a block without any insect score
    zero. Scores do not depend on the treatment labels. response (d, n); result (d, n).
    """
    size = np.broadcast_to(size, response.shape)
    blocks = np.eye(int(block.max()) + 1)[block]
    rate = ((response @ blocks) / (size @ blocks))[:, block]
    mean = size * rate
    inside = (mean > 0) & ((mean < size) | (not isinstance(family, families.Binomial)))
    safe = np.where(inside, mean, size / 2)
    held = np.where(inside, response, safe)
    df = max(len(block) - blocks.shape[1], 1)
    null = glm.GlmFit(np.empty(0), safe, safe, np.empty(0), np.ones(1, bool), 0)
    clumping = dispersion.estimate(family, held, null, size, df).clumping
    return (held - safe) / (1 + clumping[:, None] * family.spread(safe, size))
