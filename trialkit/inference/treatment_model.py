"""Treatment means on the log or logit scale, from plots in blocks, for d data sets at once."""

from dataclasses import dataclass, replace

import numpy as np

from trialkit.errors import AnalysisError
from trialkit.inference import dispersion, families, glm, sparse_tables


@dataclass(frozen=True)
class Layout:
    """Where the treatments lie: n plots under k treatments.

    treatment (n,): codes 0..k-1. blocks: tuple of (n,) codes, one array per blocking factor.
    """

    treatment: np.ndarray
    blocks: tuple[np.ndarray, ...]

    def keep(self, plots: np.ndarray) -> "Layout":
        """Return the layout of some plots, recoded without gaps."""
        return Layout(
            _recode(self.treatment[plots]), tuple(_recode(block[plots]) for block in self.blocks)
        )

    @property
    def k(self) -> int:
        """Number of treatments."""
        return int(self.treatment.max()) + 1

    def treatment_columns(self) -> np.ndarray:
        """Return treatment indicators, shape (n, k)."""
        return np.eye(self.k)[self.treatment]

    def matrix(self) -> np.ndarray:
        """Return treatment indicators and, per blocking factor, columns that sum to zero."""
        blocks = [_sum_to_zero(block) for block in self.blocks]
        return np.column_stack([self.treatment_columns(), *blocks])


@dataclass(frozen=True)
class TreatmentFit:
    """Fits of d data sets: ``estimate`` (d, k), ``covariance`` (d, k, k), residual ``df``.

    interval_df (d,): degrees of freedom of intervals, see ``sparse_tables``.
    penalised (d,): where the likelihood has no finite maximum, or a penalty was asked for.
    """

    layout: Layout
    matrix: np.ndarray
    fitted: glm.GlmFit
    dispersion: dispersion.Dispersion
    estimate: np.ndarray
    covariance: np.ndarray
    df: int
    interval_df: np.ndarray
    penalised: np.ndarray


def fit(
    family: families.Family,
    layout: Layout,
    response: np.ndarray,
    size: np.ndarray,
    *,
    whole: bool = True,
    penalised: bool = False,
) -> TreatmentFit:
    """Fit block + treatment to each of d data sets; a mean is the average over blocks on the link.

    response (d, n); size (n,) or (d, n). Every treatment and block must hold information (see
    ``informative``). A data set whose likelihood has no finite maximum is fitted with a penalty,
    and its plots are taken to vary at least by chance. Raises AnalysisError where the plots cannot
    tell treatments from blocks or leave nothing to estimate the variation between plots from.
    """
    matrix = layout.matrix()
    check_rank(matrix)
    df = len(matrix) - matrix.shape[1]
    size = np.broadcast_to(size, response.shape)
    fitted = glm.fit(family, matrix, response, size, penalised=penalised)
    away = np.full(len(response), penalised)
    if not penalised and (away := glm.runs_away(family, fitted, size)).any():
        other = glm.fit(family, matrix, response[away], size[away], penalised=True)
        fitted = glm.replaced(fitted, away, other)
    found = dispersion.estimate(family, response, fitted, size, df, whole, matrix)
    interval_df = np.full(len(response), float(df))
    if whole:
        factors = (layout.treatment, *layout.blocks)
        interval_df = sparse_tables.degrees_of_freedom(family, factors, response, size, df)
        found = replace(found, phi=np.where(away, np.maximum(found.phi, 1), found.phi))
    groups = layout.treatment_columns()
    covariance = dispersion.covariance(family, matrix, fitted, size, found, groups)
    k = layout.k
    return TreatmentFit(
        layout, matrix, fitted, found, fitted.coefficients[:, :k], covariance[:, :k, :k], df,
        interval_df, away,
    )  # fmt: skip


def check_rank(matrix: np.ndarray) -> None:
    """Raise AnalysisError where treatments and blocks are confounded or nothing is left over."""
    if np.linalg.matrix_rank(matrix) < matrix.shape[1]:
        raise AnalysisError(
            "The plots with information cannot tell treatments from blocks: some treatments "
            "never share a block with others. Compare only treatments that stand together in "
            "blocks, or leave the block out of the analysis."
        )
    if len(matrix) <= matrix.shape[1]:
        raise AnalysisError(
            "No plots are left over to show how much plots of one treatment differ. "
            "More blocks, or fewer treatments, are needed for a comparison."
        )


@dataclass(frozen=True)
class Selection:
    """Which plots (n,) of one data set are fitted, their layout, and whether penalised."""

    kept: np.ndarray
    layout: Layout
    penalised: bool


def select(layout: Layout, response: np.ndarray, top: np.ndarray | None) -> Selection:
    """Choose the plots with information; where these are too few, all plots and a penalty.

    A single treatment with information is fitted without blocks: only its own plots are left to
    show the variation between plots.
    """
    kept = informative(layout, response, top)
    if kept.any():
        inside = layout.keep(kept)
        inside = Layout(inside.treatment, ()) if inside.k == 1 else inside
        if _is_estimable(inside):
            return Selection(kept, inside, penalised=False)
    return Selection(np.ones(len(kept), dtype=bool), layout, penalised=True)


def _is_estimable(layout: Layout) -> bool:
    try:
        check_rank(layout.matrix())
    except AnalysisError:
        return False
    return True


def informative(layout: Layout, response: np.ndarray, top: np.ndarray | None) -> np.ndarray:
    """Return which plots of one data set lie in treatments and blocks that are not all empty.

    A treatment or block without any insect (or, with ``top``, with all of its trials events) fits
    perfectly at an infinite estimate; it says nothing of the other contrasts. Removing one can
    empty another, so this repeats until nothing changes. response, top (n,); result (n,) bool.

    >>> import numpy as np
    >>> plots = Layout(np.array([0, 1, 0, 1]), (np.array([0, 0, 1, 1]),))
    >>> informative(plots, np.array([0.0, 3, 0, 4]), None).tolist()
    [False, True, False, True]
    """
    kept = np.ones(len(response), dtype=bool)
    while True:
        left = kept.copy()
        for codes in (layout.treatment, *layout.blocks):
            for level in np.unique(codes[left]):
                inside = left & (codes == level)
                if is_extreme(response[inside], None if top is None else top[inside]):
                    left &= ~inside
        if (left == kept).all():
            return kept
        kept = left


def is_extreme(response: np.ndarray, top: np.ndarray | None) -> bool:
    """Return whether all responses are zero, or all reach their top."""
    return not response.any() or (top is not None and bool((response == top).all()))


def wald(estimate: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """Return the Wald F (d,) of equal treatment means on k - 1 degrees of freedom."""
    differences = estimate[:, 1:] - estimate[:, :1]
    contrast = np.column_stack([-np.ones(estimate.shape[1] - 1), np.eye(estimate.shape[1] - 1)])
    spread = contrast @ covariance @ contrast.T
    solved = np.linalg.solve(spread, differences[..., None])[..., 0]
    return (differences * solved).sum(-1) / differences.shape[1]


def _recode(codes: np.ndarray) -> np.ndarray:
    return np.unique(codes, return_inverse=True)[1]


def _sum_to_zero(codes: np.ndarray) -> np.ndarray:
    levels = int(codes.max()) + 1
    contrasts = np.vstack([np.eye(levels - 1), -np.ones((1, levels - 1))])
    return contrasts[codes]
