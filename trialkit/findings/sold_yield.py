"""Culls that find a buyer: their weight counted in terms of marketable weight."""

import pandas as pd

from trialkit.findings.economics import terms_of
from trialkit.study import Economics

PLOT = ["season", "site", "plot"]


def worth_of_culls(part: Economics) -> float:
    """Return what a lb or kg of culls is worth, in lb or kg of marketable produce; 0 if unsold.

    Both prices are taken less the cost of picking and packing.

    >>> part = Economics(prices={"marketable": 0.6, "cull": 0.2}, packing=0.1)
    >>> round(worth_of_culls(part), 6)                     # (0.2 - 0.1) / (0.6 - 0.1)
    0.2
    """
    terms, price = terms_of(part), float(part.prices.get("cull", 0.0))
    if price <= terms.handling or terms.field_price <= 0:
        return 0.0
    return (price - terms.handling) / terms.field_price


def with_culls_sold(values: pd.DataFrame, culls: pd.DataFrame, part: Economics) -> pd.DataFrame:
    """Add to plot values of marketable yield what the culls of the plot are worth.

    ``values`` has columns PLOT_VALUES, ``culls`` season, site, plot and ``value`` in kg/m²; a plot
    without a row of culls had none.
    """
    share = worth_of_culls(part)
    sold = values["measure"] == part.measure
    if share == 0:
        return values
    by_plot = culls.groupby(PLOT)["value"].sum()
    extra = by_plot.reindex(pd.MultiIndex.from_frame(values[PLOT])).fillna(0.0).to_numpy()
    return values.assign(value=values["value"] + share * extra * sold)
