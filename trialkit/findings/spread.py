"""How much a treatment's effect differs from one site-season to the next."""

from trialkit.inference import Analysis

LEVELS = ("environment", "site", "season")


def variance_between(analysis: Analysis) -> float:
    """Return the variance of one treatment's part of the answer of a new site-season, at least 0.

    The sum of the components of treatment x environment, x site and x season that the model has,
    each as estimated, in squares of the model's scale; zero where the model has none.
    """
    names = [name for name in analysis.model.components if name.endswith(":treatment")]
    return _together(analysis, names)


def level_variance_between(analysis: Analysis) -> float:
    """Return the variance of the level of a new site-season, whatever the treatment, at least 0."""
    return _together(analysis, [n for n in LEVELS if n in analysis.model.components])


def _together(analysis: Analysis, names: list[str]) -> float:
    known = analysis.model.components, analysis.model.extra
    parts = [known[1].get(f"estimate of {name}", known[0][name]) for name in names]
    return max(0.0, float(sum(parts)))
