"""Partial budgets: what changes in income and costs when a grower takes up a treatment.

Only what differs between treatments is counted. Terms and steps follow CIMMYT 1988, From agronomic
data to farmer recommendations, an economics training manual, chapters 2 to 4: yields adjusted from
plot to field, field price (price less the costs of picking and packing a unit), costs that vary,
dominance, marginal rate of return. Money and hours are per field area (acre or hectare), yields in
lb or kg per field area.
"""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

HOURS = ("hour", "hours", "h", "hr", "hrs")


@dataclass(frozen=True)
class Terms:
    """On what terms a crop is sold: price, packing (money) and picking_hours per lb or kg.

    kept : share of a plot's yield that a farmer's field gives, 0 to 1.
    """

    price: float
    packing: float = 0.0
    picking_hours: float = 0.0
    wage: float = 0.0
    kept: float = 1.0

    @property
    def handling(self) -> float:
        """Cost of picking and packing one lb or kg."""
        return self.packing + self.picking_hours * self.wage

    @property
    def field_price(self) -> float:
        """Price less the cost of picking and packing one lb or kg."""
        return self.price - self.handling

    @property
    def worth(self) -> float:
        """Money that one lb or kg of plot yield leaves after handling."""
        return self.kept * self.field_price


def costs_a_season(costs: pd.DataFrame) -> pd.DataFrame:
    """Sum the inputs of each treatment over one season, spread over the seasons that they last.

    ``costs`` has treatment, item, quantity, unit, price, lasts_seasons (empty means 1). Returns a
    frame by treatment: cost, hours, labour_cost (rows whose unit is the hour), all per field area.

    >>> rows = [("net", "mesh", 100.0, "m2", 0.6, 3.0), ("net", "cover", 5.0, "hour", 20.0, None)]
    >>> names = ["treatment", "item", "quantity", "unit", "price", "lasts_seasons"]
    >>> costs_a_season(pd.DataFrame(rows, columns=names)).loc["net"].tolist()  # 60 / 3 + 5 x 20
    [120.0, 5.0, 100.0]
    """
    spent = costs["quantity"] * costs["price"] / costs["lasts_seasons"].astype(float).fillna(1.0)
    labour = costs["unit"].astype(str).str.strip().str.lower().isin(HOURS)
    table = pd.DataFrame(
        {
            "treatment": costs["treatment"],
            "cost": spent,
            "hours": costs["quantity"].where(labour, 0.0),
            "labour_cost": spent.where(labour, 0.0),
        }
    )
    return table.groupby("treatment")[["cost", "hours", "labour_cost"]].sum()


def with_event_labour(costs: pd.DataFrame, hours: Mapping[str, float], wage: float) -> pd.DataFrame:
    """Add hours that events took (treatment -> hours per field area) at ``wage`` to the costs."""
    extra = pd.Series(dict(hours), dtype=float).reindex(costs.index, fill_value=0.0)
    return costs.assign(
        cost=costs["cost"] + extra * wage,
        hours=costs["hours"] + extra,
        labour_cost=costs["labour_cost"] + extra * wage,
    )


def budgets(yields: Mapping[str, float], costs: pd.DataFrame, terms: Terms) -> pd.DataFrame:
    """Return one partial budget per treatment, the check (first of ``yields``) among them.

    ``yields`` are plot yields per field area, ``costs`` as from :func:`costs_a_season`. Columns:
    treatment, plot_yield, field_yield, income, handling, cost, hours, labour_cost, net_return,
    with net_return = field_yield x (price - handling of one unit) - cost.

    >>> costs = pd.DataFrame({"cost": [0.0, 120.0], "hours": [0.0, 5.0],
    ...                       "labour_cost": [0.0, 100.0]}, index=["check", "net"])
    >>> table = budgets({"check": 1000.0, "net": 1400.0}, costs, Terms(0.8, 0.3, kept=0.9))
    >>> table["net_return"].round(6).tolist()               # 900 x 0.5, 1260 x 0.5 - 120
    [450.0, 510.0]
    """
    table = costs.reindex(list(yields)).rename_axis("treatment").reset_index()
    plot_yield = pd.Series(dict(yields)).reindex(list(yields)).to_numpy(float)
    field_yield = plot_yield * terms.kept
    own_hours = table["hours"] + field_yield * terms.picking_hours
    return table.assign(
        plot_yield=plot_yield,
        field_yield=field_yield,
        income=field_yield * terms.price,
        handling=field_yield * terms.handling,
        hours=own_hours,
        labour_cost=table["labour_cost"] + field_yield * terms.picking_hours * terms.wage,
        net_return=field_yield * terms.field_price - table["cost"],
    )


def marginal_analysis(budget: pd.DataFrame) -> pd.DataFrame:
    """Return the budget in order of costs with dominance and the marginal rate of return.

    A treatment is dominated where one that costs no more returns as much or more. Between
    neighbours that are not dominated, marginal_return = 100 x gain in net return / extra cost
    (percent). Adds ``dominated_by`` (a treatment, or empty), ``marginal_return``, ``instead_of``.

    >>> table = pd.DataFrame({"treatment": ["a", "b", "c"], "cost": [0.0, 50.0, 80.0],
    ...                       "net_return": [400.0, 390.0, 520.0]})
    >>> found = marginal_analysis(table)
    >>> found["dominated_by"].tolist(), float(found["marginal_return"].iloc[-1])  # 120 / 80
    (['', 'a', ''], 150.0)
    """
    ordered = budget.sort_values(["cost", "net_return"], ascending=[True, False], kind="stable")
    best: dict[Hashable, Any] | None = None
    rows: list[dict[str, Any]] = []
    for row in ordered.to_dict("records"):
        added = {"dominated_by": "", "marginal_return": np.nan, "instead_of": ""}
        if best is not None and row["net_return"] <= best["net_return"]:
            added["dominated_by"] = best["treatment"]
        else:
            if best is not None:
                added["instead_of"] = best["treatment"]
                gain, extra = row["net_return"] - best["net_return"], row["cost"] - best["cost"]
                added["marginal_return"] = 100 * gain / extra if extra > 0 else np.inf
            best = row
        rows.append(added)
    return ordered.assign(**{name: [row[name] for row in rows] for name in rows[0]})


def acceptable(marginal: pd.DataFrame, minimum_return: float) -> str:
    """Return the costliest treatment whose every step up from the cheapest earns the minimum.

    Steps run over treatments that are not dominated; one that earns less than ``minimum_return``
    percent is passed over and the next is set against the last one taken.

    >>> table = pd.DataFrame({"treatment": ["a", "b", "c"], "cost": [0.0, 50.0, 100.0],
    ...                       "net_return": [400.0, 420.0, 560.0]})
    >>> acceptable(marginal_analysis(table), 100.0)         # b earns 40 %, c against a 160 %
    'c'
    """
    taken, *rest = marginal[marginal["dominated_by"] == ""].to_dict("records")
    for row in rest:
        extra = row["cost"] - taken["cost"]
        if 100 * (row["net_return"] - taken["net_return"]) >= minimum_return * extra:
            taken = row
    return str(taken["treatment"])


def break_even(budget: pd.DataFrame, check: str, terms: Terms) -> pd.DataFrame:
    """Return, by treatment against the check, what it takes to be no worse off.

    break_even_price  price per lb or kg at which the extra yield pays the extra cost:
                      handling + extra cost / extra field yield; NaN where no price does, 0 where
                      any price does.
    break_even_yield  plot yield at which it pays at today's price: the check's yield + extra cost /
                      (kept x field price); NaN where a sold unit earns nothing.
    return_per_hour   extra net return before paying labour, for each extra hour worked; NaN where
                      there are no extra hours.
    """
    base = budget.set_index("treatment").loc[check]
    rest = budget[budget["treatment"] != check]
    cost = rest["cost"] - base["cost"]
    more = rest["field_yield"] - base["field_yield"]
    hours = rest["hours"] - base["hours"]
    labour = rest["labour_cost"] - base["labour_cost"]
    gain = rest["net_return"] - base["net_return"]
    needed = base["plot_yield"] + cost / terms.worth if terms.worth > 0 else np.nan
    with np.errstate(divide="ignore", invalid="ignore"):
        price = (terms.handling + cost / more).where(more > 0)
        hourly = ((gain + labour) / hours).where(hours > 0)
    price = price.clip(lower=0.0).mask((cost <= 0) & (more >= 0), 0.0)
    return pd.DataFrame(
        {
            "treatment": rest["treatment"],
            "break_even_price": price,
            "break_even_yield": needed,
            "return_per_hour": hourly,
        }
    ).reset_index(drop=True)
