"""Do treatments answer a place alike each season, where the combined answer cannot allow for it?

The combined ratios of counts and shares take site-seasons as independent. Where ratios belong to
their place, that is too sure of itself, and readers are told.
"""

import numpy as np
import pandas as pd

from trialkit.inference.preliminary_test import interaction_p
from trialkit.study import Measure, Study

CAUTION_LEVEL = 0.1  # common practice, no source: a caution should come sooner than a verdict


def place_p(study: Study, measure: Measure, effects: pd.DataFrame) -> float:
    """Return p of an F test of site x treatment on the log ratios of single site-seasons.

    ``effects`` are EFFECTS of single site-seasons; ``estimate`` is the log ratio (log odds ratio)
    to the check. The error is what differs between seasons at one site. A ratio that is only
    bounded takes no part. NaN where no site has two seasons.
    """
    known = np.isfinite(effects["estimate"].to_numpy(float))
    own = effects[(effects["measure"] == measure.id).to_numpy() & known]
    if own.empty:
        return float("nan")
    ratios = own.pivot_table(index=["season", "site"], columns="treatment", values="estimate")
    table = ratios.assign(**{study.check.id: 0.0})
    site = pd.factorize(table.index.get_level_values("site"))[0]
    return interaction_p(table.to_numpy(float), site)


def place_caution(study: Study, measure: Measure, effects: pd.DataFrame) -> str:
    """Return a caution where ratios seem to belong to their place, or nothing."""
    p = place_p(study, measure, effects)
    if not p <= CAUTION_LEVEL:
        return ""
    sites = effects.loc[effects["measure"] == measure.id, "site"].nunique()
    return (
        f"Treatments seem to answer a place in much the same way every season (F test of site x "
        f"treatment on the ratios of the site-seasons, p = {p:.2g}). The combined interval takes "
        f"the site-seasons as independent, so it is surer of itself than {sites} places allow: "
        "read it beside the answers of the single places."
    )
