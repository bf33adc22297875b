"""What every model hands on: marginal means with their covariance, tests, and bounds.

One vocabulary for all families keeps multiplicity, letters and effect sizes free of any knowledge
of the model that made the means. Everything is on the link scale (identity, log or logit).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd

Link = Literal["identity", "log", "logit"]
TEST_COLUMNS = ("term", "df1", "df2", "F", "p")


@dataclass(frozen=True)
class MarginalMeans:
    """Estimated marginal means of ``k`` treatments on the link scale.

    treatments : k labels in reporting order.
    estimate   : (k,) means on the link scale.
    covariance : (k, k) their covariance on the link scale.
    df         : (k,) degrees of freedom of each mean's own interval.
    pair_df    : (k, k) degrees of freedom of the difference of each pair (diagonal unused).
    link       : how the link scale maps to the response.
    n          : (k,) observations used.
    """

    treatments: tuple[str, ...]
    estimate: np.ndarray
    covariance: np.ndarray
    df: np.ndarray
    pair_df: np.ndarray
    link: Link
    n: np.ndarray


@dataclass(frozen=True)
class Bound:
    """A contrast of which the data give only one end, as when a treatment has no insects at all.

    ``low`` and ``high`` are on the ratio scale (odds ratio for logit); the open end is 0 or
    infinity. ``method`` says in words how the finite end was obtained; ``p`` is the matching
    exact or penalised test where there is one.
    """

    low: float
    high: float
    method: str
    p: float | None = None


@dataclass(frozen=True)
class ModelResult:
    """A fitted model as the rest of the package sees it.

    tests      : frame with TEST_COLUMNS, one row per term.
    components : variance components by name (response units squared), empty where none.
    bounds     : (treatment, versus) -> Bound for contrasts that are only bounded.
    residuals  : frame with columns ``row`` (index label of the input), ``fitted``, ``residual``,
                 ``leverage``; empty where the model has none.
    record     : how the fit went (optimiser, iterations, boundary), for provenance.
    extra      : further numbers by name, such as ``dispersion`` or ``mse``.
    further    : means beside those of treatments: ``whole_plot`` and ``cell`` of a split plot.
    """

    family: str
    method: str
    terms: tuple[str, ...]
    notes: tuple[str, ...]
    tests: pd.DataFrame
    means: MarginalMeans
    components: Mapping[str, float] = field(default_factory=dict)
    bounds: Mapping[tuple[str, str], Bound] = field(default_factory=dict)
    residuals: pd.DataFrame = field(default_factory=pd.DataFrame)
    record: Mapping[str, object] = field(default_factory=dict)
    extra: Mapping[str, float] = field(default_factory=dict)
    further: Mapping[str, MarginalMeans] = field(default_factory=dict)
