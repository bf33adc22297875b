"""Power and smallest detectable difference of a layout, from the noncentral F and t.

All standard deviations and differences of one call are on one scale: percent of the check's mean,
logarithms, or a measure's own unit. A balanced layout is assumed; losing plots costs power.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy import optimize, stats

from trialkit.errors import AnalysisError

Design = Literal["completely_randomised", "complete_blocks", "latin_square", "split_plot"]
FEWEST_RESIDUAL_DF: Final = 12


@dataclass(frozen=True)
class Components:
    """Standard deviations: between plots, and of a treatment's effect between environments.

    In a split plot ``plot`` is that between the plots of a whole plot, ``whole_plot`` that between
    whole plots of a block beyond it.
    ``treatment_environment`` is that between site-seasons; ``treatment_site`` and
    ``treatment_season`` are what comes back at the same site, or in the same season. ``source``
    says where they are from. Raises AnalysisError unless ``plot`` is positive and none is negative.
    """

    plot: float
    treatment_environment: float = 0.0
    treatment_site: float = 0.0
    treatment_season: float = 0.0
    source: str = "typed in"
    whole_plot: float = 0.0

    def __post_init__(self) -> None:
        others = (self.treatment_environment, self.treatment_site, self.treatment_season)
        if not self.plot > 0 or min(*others, self.whole_plot) < 0:
            raise AnalysisError(
                "Power needs a positive standard deviation between plots, and none below zero. "
                "Mend layout.assumptions in study.toml."
            )


@dataclass(frozen=True)
class TrialSize:
    """How large a trial is: treatments with the check, blocks a site, sites and seasons.

    ``whole_plots`` is the number of whole plots in a block of a split plot, each of which holds as
    many treatments.
    """

    treatments: int
    blocks: int
    sites: int = 1
    seasons: int = 1
    design: Design = "complete_blocks"
    whole_plots: int = 1

    @property
    def in_whole_plot(self) -> int:
        """Treatments in one whole plot of a split plot."""
        return self.treatments // self.whole_plots

    @property
    def environments(self) -> int:
        """Site-seasons."""
        return self.sites * self.seasons

    @property
    def plots(self) -> int:
        """Plots a season, all sites together."""
        return self.treatments * self.blocks * self.sites


def residual_df(size: TrialSize) -> int:
    """Residual degrees of freedom within one site-season; of a split plot, within whole plots.

    >>> residual_df(TrialSize(treatments=5, blocks=3))
    8
    >>> residual_df(TrialSize(6, blocks=4, design="split_plot", whole_plots=2))
    12
    """
    t, r = size.treatments, size.blocks
    table = {
        "completely_randomised": t * (r - 1),
        "complete_blocks": (t - 1) * (r - 1),
        "latin_square": (t - 1) * (t - 2),
        "split_plot": size.whole_plots * (r - 1) * (size.in_whole_plot - 1),
    }
    if table[size.design] < 1:
        raise AnalysisError(
            f"{t} treatments in {r} replicates leave no residual degree of freedom. "
            "Raise layout.blocks in study.toml."
        )
    return table[size.design]


def too_few(size: TrialSize) -> str:
    """Return a warning under 12 residual degrees of freedom in a site-season, else nothing.

    Source: European plant-protection standard PP 1/152, design and analysis of efficacy trials.
    """
    split = size.design == "split_plot"
    found = whole_plot_df(size) if split else residual_df(size)
    if found >= FEWEST_RESIDUAL_DF:
        return ""
    kind = ("" if split else "residual ") + ("degree" if found == 1 else "degrees")
    where = "between whole plots" if split else "in a site-season"
    return (
        f"{size.treatments} treatments in {size.blocks} replicates leave {found} {kind} "
        f"of freedom {where}; guidance (PP 1/152) asks for {FEWEST_RESIDUAL_DF} or more."
    )


def whole_plot_df(size: TrialSize) -> int:
    """Degrees of freedom between whole plots of one site-season, (w - 1)(r - 1).

    >>> whole_plot_df(TrialSize(6, blocks=4, design="split_plot", whole_plots=2))
    3
    """
    return (size.whole_plots - 1) * (size.blocks - 1)


def power_of_f(
    means: "np.ndarray | list[float]", plot_sd: float, size: TrialSize, alpha: float = 0.05
) -> float:
    """Power of the F test of treatments in one site-season.

    The noncentrality is replicates x sum (mean - grand mean)² / variance, on t - 1 and the
    residual degrees of freedom.

    >>> two = TrialSize(treatments=2, blocks=10, design="completely_randomised")
    >>> round(power_of_f([0.0, 1.0], 1.0, two), 4)
    0.562
    """
    values = np.asarray(means, dtype=float)
    noncentrality = size.blocks * ((values - values.mean()) ** 2).sum() / plot_sd**2
    df1, df2 = size.treatments - 1, residual_df(size)
    critical = stats.f.ppf(1 - alpha, df1, df2)
    return float(stats.ncf.sf(critical, df1, df2, noncentrality))


def standard_error(parts: Components, size: TrialSize) -> tuple[float, float]:
    """Standard error of a treatment's difference from the check, and its degrees of freedom.

    Mean squares of the balanced layout: plots s²; site-seasons s² + r s_te²; sites and seasons the
    same plus r Y s_ts² and r S s_ty². With neither of the last two parts the site-season mean
    square is the error, on (t - 1)(site-seasons - 1) degrees of freedom. Otherwise the error is
    sites + seasons - site-seasons, with the degrees of freedom of Satterthwaite (1946, Biometrics
    Bulletin 2:110). One site-season alone says nothing of others: its plots are the error. In a
    split plot the two treatments stand in different whole plots, the less sure of both cases.
    """
    if size.design == "split_plot":
        return split_plot_error(parts, size)
    r, sites, seasons = size.blocks, size.sites, size.seasons
    between = size.treatments - 1
    per_mean = 2 / (r * size.environments)
    if size.environments == 1:
        return float(np.sqrt(per_mean) * parts.plot), float(residual_df(size))
    both = parts.plot**2 + r * parts.treatment_environment**2
    if parts.treatment_site == 0 and parts.treatment_season == 0:
        return float(np.sqrt(per_mean * both)), float(between * (size.environments - 1))
    if min(sites, seasons) < 2:
        raise AnalysisError(
            "Separate standard deviations of sites and of seasons need two sites and two seasons "
            "or more. Give one treatment_environment_sd instead, or plan a larger trial."
        )
    by_site = both + r * seasons * parts.treatment_site**2
    by_season = both + r * sites * parts.treatment_season**2
    squares = np.array([by_site, by_season, -both])
    df = between * np.array([sites - 1, seasons - 1, (sites - 1) * (seasons - 1)])
    total = squares.sum()
    return float(np.sqrt(per_mean * total)), float(total**2 / (squares**2 / df).sum())


def split_plot_error(
    parts: Components, size: TrialSize, *, apart: bool = True
) -> tuple[float, float]:
    """Standard error of a difference in a split plot, and its degrees of freedom.

    With b treatments in each of w whole plots of r blocks at E site-seasons, E_b = s² + r s_te² and
    E_a = E_b + b s_w² are the mean squares within and between whole plots (s_te left out for one
    site-season). Within a whole plot the variance is 2 E_b / rE. For treatments ``apart`` it is
    2 ((b - 1) E_b + E_a) / rbE, with the degrees of freedom of Satterthwaite (1946); the formula is
    that of Gomez & Gomez (1984, Statistical procedures for agricultural research, ch. 3), from
    memory.
    """
    w, b, places = size.whole_plots, size.in_whole_plot, size.environments
    within = parts.plot**2 + (size.blocks * parts.treatment_environment**2 if places > 1 else 0)
    between = within + b * parts.whole_plot**2
    many = size.blocks - 1 if places == 1 else places - 1
    df_within, df_between = w * (b - 1) * many, (w - 1) * many
    if not apart:
        return float(np.sqrt(2 * within / (size.blocks * places))), float(df_within)
    squares = np.array([(b - 1) * within, between])
    total, df = squares.sum(), np.array([max(df_within, 1), df_between])
    se = np.sqrt(2 * total / (size.blocks * b * places))
    return float(se), float(total**2 / (squares**2 / df).sum())


def power_of_split_plot_f(
    means: "np.ndarray | list[float]",
    parts: Components,
    size: TrialSize,
    factor: Literal["whole_plots", "sub_plots"],
    alpha: float = 0.05,
) -> float:
    """Power of the F test of one factor of a split plot in one site-season.

    Whole plots: noncentrality r b sum(deviation²) / (s² + b s_w²) on w - 1 and (w - 1)(r - 1)
    degrees of freedom; sub-plots: r w sum(deviation²) / s² on b - 1 and w (r - 1)(b - 1).
    """
    values = np.asarray(means, dtype=float)
    spread = ((values - values.mean()) ** 2).sum() * size.blocks
    w, b = size.whole_plots, size.in_whole_plot
    if factor == "whole_plots":
        error = parts.plot**2 + b * parts.whole_plot**2
        noncentrality, df1, df2 = b * spread / error, w - 1, whole_plot_df(size)
    else:
        noncentrality, df1, df2 = w * spread / parts.plot**2, b - 1, residual_df(size)
    critical = stats.f.ppf(1 - alpha, df1, df2)
    return float(stats.ncf.sf(critical, df1, df2, noncentrality))


def power_of_difference(
    difference: float, parts: Components, size: TrialSize, alpha: float = 0.05
) -> float:
    """Power of the two-sided t test of one treatment against the check.

    The noncentral F on 1 degree of freedom with (difference / standard error)² as noncentrality,
    which is the noncentral t of the ratio, squared; no allowance for several treatments (pass
    alpha / number of contrasts for a cautious one).
    """
    se, df = standard_error(parts, size)
    critical = stats.f.ppf(1 - alpha, 1, df)
    return float(stats.ncf.sf(critical, 1, df, (difference / se) ** 2))


def smallest_detectable(
    parts: Components, size: TrialSize, power: float = 0.8, alpha: float = 0.05
) -> float:
    """Smallest difference from the check that is found with this power."""
    se, _ = standard_error(parts, size)

    def missing(difference: float) -> float:
        return power_of_difference(difference, parts, size, alpha) - power

    top = se
    while missing(top) < 0:
        top *= 2
    return float(optimize.brentq(missing, 0.0, top, xtol=1e-10 * se))
