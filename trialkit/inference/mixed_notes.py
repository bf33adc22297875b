"""What a mixed-model fit says of itself, in sentences fit to be printed."""

import numpy as np

from trialkit.inference.design import Design
from trialkit.inference.mixed_model import MixedModel
from trialkit.inference.reml import RemlFit

FEW_ENVIRONMENTS = 4
NESTED = (
    "Split plot: treatments of the same whole plot are compared by the variation between "
    "sub-plots, those of different whole plots by that between whole plots as well"
)


def method_of(design: Design, model: MixedModel, fit: RemlFit) -> str:
    """Return the method in one sentence; of a nested split plot, what each comparison rests on."""
    fixed = " + ".join(model.hypotheses)
    random = " + ".join(fit.names)
    strata = f". {NESTED}" if design.nested else ""
    return (
        f"Mixed model with {fixed} fixed and {random} random; variances by restricted maximum "
        "likelihood, tests and intervals after Kenward and Roger"
        f"{strata}"
    )


def notes_of(
    design: Design, model: MixedModel, fit: RemlFit, dropped: tuple[str, ...]
) -> tuple[str, ...]:
    """Return what a reader must know of the fit."""
    return (
        *_scale_notes(design),
        *_place_notes(model),
        *model.left_out,
        *(_dropped(name) for name in dropped),
        *_boundary_notes(fit),
        *_size_notes(design),
        *_nested_notes(design),
    )


def _scale_notes(design: Design) -> list[str]:
    if design.family != "lognormal":
        return []
    return ["Analysed as logarithms: means are geometric means and differences are ratios."]


def _place_notes(model: MixedModel) -> list[str]:
    """Say what the test rests on where a site or season has a term of its own."""
    own = [name for name in ("site", "season") if f"{name}:treatment" in model.factors]
    if not own:
        return []
    count = {name: len(np.unique(model.factors[name])) for name in (*own, "environment")}
    rests = " and ".join(f"the {count[name]} {name}s" for name in own)
    word = " or a ".join(own)
    return [
        f"Treatments may answer a {word} alike each time it comes back, so the comparisons rest "
        f"on {rests} rather than on all {count['environment']} environments. Intervals are wider "
        "than if environments were taken as independent, which is too sure of itself where that "
        "happens."
    ]


def _dropped(name: str) -> str:
    return (
        f"The variance of {name} cannot be told from the others in these data and is part of them."
    )


def _boundary_notes(fit: RemlFit) -> list[str]:
    notes = []
    below = [name for name in fit.record.boundary if name not in fit.record.held]
    if below:
        notes.append(
            f"The variance of {' and '.join(below)} is estimated below zero and reported as zero: "
            "the data show no more variation there than the other terms explain. The tests keep "
            "the estimate itself, which in a balanced study makes them the classical ratios of "
            "mean squares."
        )
    if fit.record.held:
        notes.append(
            f"With the plots lost here the variances have no estimate unless that of "
            f"{' and '.join(fit.record.held)} is kept at zero or above, as was done."
        )
    return notes


def _size_notes(design: Design) -> list[str]:
    if "environment" not in design.frame:
        return []
    number = len(design.frame["environment"].cat.categories)
    if number > FEW_ENVIRONMENTS:
        return []
    return [
        f"With {number} environments the variance between environments is poorly known, so the "
        "intervals of the means are wide; more site-seasons help more than more blocks."
    ]


def _nested_notes(design: Design) -> list[str]:
    """Say which treatments share whole plots, and so what their comparisons rest on."""
    return [shared_whole_plots(design)] if design.nested else []


def shared_whole_plots(design: Design) -> str:
    """Return in words which treatments share a whole plot."""
    level = design.frame.groupby("treatment", observed=True)["whole_plot"].first().to_dict()
    groups = [
        f"{name} ({', '.join(t for t in design.treatments if level[t] == name)})"
        for name in design.frame["whole_plot"].cat.categories
    ]
    return (
        f"Treatments that share a whole plot: {'; '.join(groups)}. Comparisons of treatments in "
        "different whole plots are less sure than those within one, since each block holds only "
        "one whole plot of a kind."
    )
