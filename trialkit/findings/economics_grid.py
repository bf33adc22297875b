"""Which treatment is best at other prices and costs: the same fit, other terms."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.findings.costs_of import TreatmentCosts
from trialkit.findings.economics import chosen, terms_of
from trialkit.findings.gain import closed_form
from trialkit.findings.partial_budget import Terms
from trialkit.inference import Analysis
from trialkit.study import Study, per_field_area

GRID: Final = ("price_factor", "cost_factor", "price", "best", "net_return", "gain", "chance")


@dataclass(frozen=True)
class Fitted:
    """What the grid and the explorer need of a fit: lb or kg per field area, money.

    treatments (k, the check first), yields (k,), se and df (k,) of the difference from the check,
    costs (k,) a season.
    """

    treatments: tuple[str, ...]
    yields: np.ndarray
    se: np.ndarray
    df: np.ndarray
    costs: np.ndarray
    terms: Terms

    def returns(self, price: float, cost_factor: float = 1.0) -> pd.DataFrame:
        """Net return, gain over the check and its chance, by treatment, at another price.

        ``cost_factor`` multiplies every treatment's cost. Columns treatment, net_return, gain,
        chance; the check's own gain is 0 and its chance NaN.
        """
        worth = replace(self.terms, price=price).worth
        spent = self.costs * cost_factor
        net = self.yields * worth - spent
        gain = net - net[0]
        chance = [np.nan, *closed_form(gain[1:], self.se[1:] * abs(worth), self.df[1:])]
        names = list(self.treatments)
        return pd.DataFrame({"treatment": names, "net_return": net, "gain": gain, "chance": chance})


def fitted(
    study: Study,
    analysis: Analysis,
    costs: TreatmentCosts,
    event_hours: Mapping[str, float] | None = None,
) -> Fitted:
    """Gather what the grid needs; the study must have usable [economics]."""
    if study.economics is None or costs.blocking:
        raise AnalysisError("Prices are not known. Give [economics] in study.toml, or mend it.")
    means = chosen(analysis.model.means, study, costs)
    scale = per_field_area(1.0, study.units)
    v = means.covariance
    variance = np.diag(v) + v[0, 0] - 2 * v[:, 0]
    spent = costs.with_hours(event_hours or {})["cost"].reindex(list(means.treatments))
    return Fitted(
        treatments=means.treatments,
        yields=means.estimate * scale,
        se=np.sqrt(np.clip(variance, 0.0, None)) * scale,
        df=means.pair_df[:, 0],
        costs=spent.to_numpy(float),
        terms=terms_of(study.economics),
    )


def price_cost_grid(
    fit: Fitted, price_factors: Sequence[float], cost_factors: Sequence[float]
) -> pd.DataFrame:
    """Return the best treatment of every price and cost (columns GRID).

    ``best`` has the highest net return; ``gain`` over the check and its ``chance`` are those of the
    best, NaN where that is the check.
    """
    rows = []
    for price_factor in price_factors:
        price = fit.terms.price * price_factor
        for cost_factor in cost_factors:
            table = fit.returns(price, cost_factor)
            best = table.iloc[int(table["net_return"].to_numpy().argmax())]
            is_check = best["treatment"] == fit.treatments[0]
            rows.append(
                {
                    "price_factor": price_factor,
                    "cost_factor": cost_factor,
                    "price": price,
                    "best": best["treatment"],
                    "net_return": best["net_return"],
                    "gain": np.nan if is_check else best["gain"],
                    "chance": best["chance"],
                }
            )
    return pd.DataFrame(rows, columns=list(GRID))
