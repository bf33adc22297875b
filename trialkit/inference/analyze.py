"""The entry point: one tidy frame in, means, contrasts, tests and effect sizes out."""

import difflib
from collections.abc import Sequence

import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference import linear, multiplicity
from trialkit.inference.analysis import Analysis
from trialkit.inference.design import Design, make_design
from trialkit.inference.estimates import ModelResult
from trialkit.inference.mixed import fit_mixed
from trialkit.inference.places import Places, places_of
from trialkit.inference.whole_plot_pairs import fit_by_pairs


def analyze(
    frame: pd.DataFrame,
    *,
    response: str,
    treatment: str,
    block: str | None = None,
    row: str | None = None,
    column: str | None = None,
    whole_plot: str | None = None,
    environment: str | None = None,
    family: str = "normal",
    trials: str | None = None,
    exposure: str | None = None,
    control: object = None,
    adjust: str | None = None,
    level: float = 0.95,
    site: str | None = None,
    season: str | None = None,
    recurring: Sequence[str] | None = None,
) -> Analysis:
    """Analyse one response of a replicated trial.

    frame       : one row per plot; the other arguments name its columns.
    row, column : make a Latin square. environment: the site-season, for an analysis across them.
    whole_plot  : the factor laid on whole plots. Where each treatment stands on one of its levels
                  only, treatments are nested in it, and every family has an answer.
    site, season: columns whose combination is the environment (unless that is given too). For
                  continuous responses their variances and those of their interactions with
                  treatment are estimated where the data can carry them; ``recurring`` ("site",
                  "season") names those that are, in place of the rule, for a part of a study.
    family      : "normal", "lognormal", "count" (response a total, ``exposure`` the plants or area
                  examined), "proportion" (response out of ``trials``) or "ordinal".
    control     : label of the untreated check; contrasts then are each treatment minus the check.
    adjust      : "dunnett" (default with a check), "tukey" (default without), "holm", or "none".
    level       : coverage of the intervals; those of contrasts hold together at that level.

    Raises AnalysisError, in plain words, where the data cannot answer.

    >>> data = pd.DataFrame({"yield": [5.1, 6.0, 7.2, 4.8, 6.6, 7.5, 5.6, 6.1, 7.0],
    ...                      "cover": ["none", "straw", "net"] * 3, "rep": list("111222333")})
    >>> done = analyze(data, response="yield", treatment="cover", block="rep", control="none")
    >>> done.contrasts[["treatment", "estimate", "p_adjusted"]].round(3).values.tolist()
    [['net', 2.067, 0.005], ['straw', 1.067, 0.047]]
    """
    places = places_of(frame, environment, site, season, recurring)
    design = make_design(
        places.frame, response=response, treatment=treatment, block=block, row=row, column=column,
        whole_plot=whole_plot, environment=places.environment, family=family, trials=trials,
        exposure=exposure, control=control,
    )  # fmt: skip
    how = check_options(adjust, level, design)
    return Analysis(design, fit(design, level, places), level, how)


def check_options(adjust: str | None, level: float, design: Design) -> str:
    """Return the adjustment to use; raise AnalysisError for one that does not exist."""
    if not 0 < level < 1:
        raise AnalysisError(f"level is {level}, but a coverage lies between 0 and 1, such as 0.95.")
    how = adjust if adjust is not None else ("dunnett" if design.control else "tukey")
    if how not in multiplicity.METHODS:
        near = difflib.get_close_matches(str(how), multiplicity.METHODS, n=1)
        hint = f"Did you mean '{near[0]}'?" if near else "Choose dunnett, tukey, holm or none."
        raise AnalysisError(f"Unknown adjustment '{how}'. {hint}")
    if how == "dunnett" and design.control is None:
        raise AnalysisError(
            "Dunnett's comparisons are with a check, but none is named. Give control, or use "
            "adjust='tukey' for all pairs."
        )
    return how


def fit(design: Design, level: float, places: Places | None = None) -> ModelResult:
    """Fit the model that goes with the design and the family."""
    across, continuous = "environment" in design.frame, design.family in ("normal", "lognormal")
    if design.nested and (across or not continuous):
        return fit_by_pairs(design, lambda part: _fit_plain(part, level, places))
    return _fit_plain(design, level, places)


def _fit_plain(design: Design, level: float, places: Places | None) -> ModelResult:
    if design.family == "ordinal":
        from trialkit.inference.ordinal import fit_ordinal

        return fit_ordinal(design, level)
    across, continuous = "environment" in design.frame, design.family in ("normal", "lognormal")
    if across and continuous:
        if places is None:
            return fit_mixed(design)
        return fit_mixed(design, site=places.site, season=places.season, recurring=places.recurring)
    if across:
        from trialkit.inference.two_stage import fit_two_stage

        return fit_two_stage(design, level)
    if design.family == "count":
        from trialkit.inference.counts import fit_counts

        return fit_counts(design, level)
    if design.family == "proportion":
        from trialkit.inference.proportions import fit_proportions

        return fit_proportions(design, level)
    return linear.fit_linear(design)
