"""Variance between and within whole plots, from the plots of split plots."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class WholePlots:
    """Variance of a plot within its whole plot, and of whole plots beyond it (never below 0)."""

    plot: float
    whole_plot: float


def split_components(
    frame: pd.DataFrame, whole_plots: Mapping[str, Sequence[str]]
) -> WholePlots | None:
    """Components by mean squares, over site-seasons together; None without a complete one.

    ``frame`` has one row a plot: response, block, treatment and place (the site-season);
    ``whole_plots`` leads from each level of the whole-plot factor to its treatments. With b
    treatments in each of w whole plots of r blocks, what blocks and treatments leave is split into
    the means of whole plots, on (w - 1)(r - 1), and the rest, on w (b - 1)(r - 1) degrees of
    freedom; the mean squares are s² + b s_w² and s² (Yates 1935, Suppl. J. R. Stat. Soc. 2:181).
    """
    level = {name: key for key, names in whole_plots.items() for name in names}
    rows = frame.assign(level=frame["treatment"].astype("str").map(level))
    between = within = df_between = df_within = 0.0
    size = len(level) // len(whole_plots)
    for _, one in rows.groupby("place"):
        blocks = one["block"].nunique()
        if len(one) != blocks * len(level) or blocks < 2 or size < 2:
            continue  # a lost plot unbalances the mean squares
        left = _left(one)
        mean = left.groupby([one["block"].astype("str"), one["level"]]).transform("mean")
        between, within = between + (mean**2).sum(), within + ((left - mean) ** 2).sum()
        df_between += (len(whole_plots) - 1) * (blocks - 1)
        df_within += len(whole_plots) * (size - 1) * (blocks - 1)
    if not (df_between and df_within and within > 0):
        return None
    plot = within / df_within
    return WholePlots(float(plot), float(max(0.0, between / df_between - plot) / size))


def _left(one: pd.DataFrame) -> pd.Series:
    """What block and treatment means leave of each plot."""
    response = one["response"]
    by_block = response.groupby(one["block"].astype("str")).transform("mean")
    by_treatment = response.groupby(one["treatment"].astype("str")).transform("mean")
    return response - by_block - by_treatment + response.mean()
