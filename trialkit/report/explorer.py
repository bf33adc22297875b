"""Sliders for price and costs in JupyterLab; the same as a static grid is in every report."""

from typing import Any

import pandas as pd

from trialkit.errors import TrialkitError
from trialkit.findings.economics_grid import Fitted
from trialkit.findings.effect_table import records
from trialkit.narrative.money_words import chance_words
from trialkit.narrative.numbers import fixed
from trialkit.narrative.tables import Column, Table
from trialkit.study import FIELD_AREA, WEIGHT_UNIT, Study


def explorer(study: Study, fit: Fitted) -> Any:
    """Return a box of two sliders above the returns of every treatment at their values.

    Raises TrialkitError where ipywidgets is not installed.
    """
    try:
        import ipywidgets as widgets
    except ImportError:
        raise TrialkitError(
            "The explorer needs ipywidgets. Install it with `pip install trialkit[explore]`, or "
            "use the grid of price and costs."
        ) from None
    today = fit.terms.price
    unit = f"{study.currency} a {WEIGHT_UNIT[study.units]}"
    look = {"continuous_update": False, "style": {"description_width": "initial"}}
    price = widgets.FloatSlider(
        today, min=0.0, max=3 * today, step=today / 50, description=f"Price, {unit}",
        readout_format=".3f", **look,
    )  # fmt: skip
    cost = widgets.FloatSlider(
        1.0, min=0.0, max=3.0, step=0.05, description="Costs, times today's", **look
    )
    shown = widgets.HTML(_html(study, fit, today, 1.0))

    def update(_: object) -> None:
        shown.value = _html(study, fit, price.value, cost.value)

    price.observe(update, names="value")
    cost.observe(update, names="value")
    return widgets.VBox([price, cost, shown])


def _html(study: Study, fit: Fitted, price: float, cost_factor: float) -> str:
    return returns_table(study, fit.returns(price, cost_factor), price, cost_factor).to_html()


def returns_table(study: Study, table: pd.DataFrame, price: float, cost_factor: float) -> Table:
    """Net return, gain and chance by treatment at one price and level of costs, best first."""
    per = f"{study.currency} per {FIELD_AREA[study.units]}"
    heads = [
        Column("Treatment"),
        Column(f"Net return, {per}", numeric=True),
        Column(f"Gain over the check, {per}", numeric=True),
        Column("Chance of beating the check", numeric=True),
    ]
    ordered = table.sort_values("net_return", ascending=False, kind="stable")
    rows = [
        (
            study.treatment(row["treatment"]).name,
            fixed(row["net_return"], 0),
            fixed(row["gain"], 0),
            chance_words(row["chance"]),
        )
        for row in records(ordered)
    ]
    unit = WEIGHT_UNIT[study.units]
    caption = f"At {price:.2f} {study.currency} a {unit} and {cost_factor:g} times today's costs"
    return Table.of(caption, heads, rows)
