"""Which treatment is best at each price and each level of costs, as a grid to read off."""

import math
from typing import Any, Final

import pandas as pd
from matplotlib.colors import to_rgb

from trialkit.figures import labels, theme
from trialkit.figures.blank import blank
from trialkit.figures.fit import wrap
from trialkit.figures.panel import PAD, Panel, placed
from trialkit.figures.picture import Picture
from trialkit.figures.rows import rows_of
from trialkit.study import WEIGHT_UNIT, Study

LEFT: Final = 1.0  # inches for prices
TOP: Final = 0.62
BELOW: Final = 0.1
TINT: Final = 0.3


def price_cost_grid(study: Study, grid: pd.DataFrame) -> Picture:
    """Draw one cell per price and cost with the treatment of the highest net return.

    ``grid`` has price_factor, cost_factor, price (money per lb or kg), best (a treatment), gain
    over the check (money per field area) and chance (that it beats the check), as findings give it.
    """
    if grid.empty:
        return blank("Price and cost", "There are no prices and costs to compare treatments by.")
    prices = sorted(grid["price"].unique(), reverse=True)
    costs = sorted(grid["cost_factor"].unique())
    width = (theme.WIDTH - LEFT - 0.1) / len(costs)
    cells = {(r.price, r.cost_factor): r for r in rows_of(grid)}
    said = {key: _said(study, record, width) for key, record in cells.items()}
    height = 0.12 + theme.LINE * max(text.count("\n") + 1 for text in said.values())
    with theme.drawing(TOP + height * len(prices) + BELOW) as figure:
        theme.heading(figure, 0.06, "Costs of the treatments, times today's", left=LEFT)
        unit = f"{study.currency} a {WEIGHT_UNIT[study.units]}"
        heading = wrap(f"Price, {unit}", LEFT - 0.12, theme.SMALL, "bold")
        theme.heading(figure, 0.06, heading, fontsize=theme.SMALL)
        size = theme.WIDTH - LEFT - 0.1, height * len(prices)
        panel = placed(figure, (LEFT, TOP), size, (0, len(costs)), (len(prices), 0))
        _frame(panel, prices, costs)
        for (price, factor), record in cells.items():
            place = (costs.index(factor), prices.index(price))
            _cell(panel, place, theme.styles(study)[str(record.best)], said[price, factor])
        return theme.finish(figure, _finding(study, grid), _caption(study), grid)


def _frame(panel: Panel, prices: list[float], costs: list[float]) -> None:
    for n, cost in enumerate(costs):
        panel.words(f"× {cost:g}", n + 0.5, 0, (0, PAD), ha="center", va="bottom",
                    fontsize=theme.SMALL)  # fmt: skip
    panel.axis_left({n + 0.5: f"{price:,.2f}" for n, price in enumerate(prices)}, edge=False)


def _cell(panel: Panel, place: tuple[int, int], look: theme.Style, text: str) -> None:
    red, green, blue = (1 - TINT * (1 - part) for part in to_rgb(look.colour))
    panel.block((place[0], place[0] + 1), (place[1], place[1] + 1), facecolor=(red, green, blue),
                edgecolor="white", lw=2)  # fmt: skip
    panel.words(text, place[0] + 0.5, place[1] + 0.5, ha="center", va="center",
                fontsize=theme.SMALL, linespacing=1.05)  # fmt: skip


def _said(study: Study, record: Any, width: float) -> str:
    name = wrap(study.treatment(str(record.best)).label, width - 0.08, theme.SMALL)
    return name if math.isnan(record.chance) else f"{name}\n{_chance(record.chance)}"


def _chance(chance: float) -> str:
    """Chance in percent, never said to be certain."""
    percent = min(max(round(100 * chance), 1), 99)
    return f"{percent}{labels.SPACE}%"


def _finding(study: Study, grid: pd.DataFrame) -> str:
    counts = grid["best"].value_counts(sort=False)
    parts = [f"{study.treatment(str(name)).label} in {count}" for name, count in counts.items()]
    today = grid[(grid["price_factor"] == 1) & (grid["cost_factor"] == 1)]
    now = ""
    if len(today):
        now = f" At today's price and costs it is {study.treatment(today['best'].iloc[0]).label}."
    return (
        f"Treatment with the highest net return in {len(grid)} combinations of price and costs: "
        f"{labels.listed(parts)}.{now}"
    )


def _caption(study: Study) -> str:
    return (
        "Treatment with the highest estimated net return at each price and level of costs, of "
        "those whose costs are known. The "
        f"percentage is the chance that it returns more than the {study.check.label.lower()}; "
        "none is given where the check itself is best."
    )
