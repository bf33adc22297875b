"""What a specialist prints under a table of counts or shares."""

from collections.abc import Mapping

import numpy as np

from trialkit.inference.equal_treatments import FEWEST_ARRANGEMENTS, TreatmentTest
from trialkit.inference.estimates import Bound
from trialkit.inference.extremes import TrialFit
from trialkit.inference.plot_counts import PlotCounts

ALPHA = 0.05
WORTH_SAYING = 1.1


def notes_of(
    plots: PlotCounts,
    fit: TrialFit,
    test: TreatmentTest,
    bounds: Mapping[tuple[str, str], Bound],
) -> tuple[str, ...]:
    """Return the notes in the order of reading."""
    return (
        *_variation(plots, fit),
        *_few(plots, fit),
        *_left_out(plots, fit),
        *_bounded(plots, bounds),
        *_tested(test),
    )


def _variation(plots: PlotCounts, fit: TrialFit) -> list[str]:
    found = fit.model.dispersion
    ratio, clumping = float(found.pearson[0]), float(found.clumping[0])
    kind = "fruit or plants" if plots.is_share else "insects"
    if clumping == 0:
        return [
            f"Plots of one treatment varied no more than chance alone makes them vary (dispersion "
            f"{ratio:.2g}); standard errors use that estimate."
        ]
    more = (
        f"Plots of one treatment varied {ratio:.2g} times as much as if {kind} fell on plots "
        "independently; standard errors and intervals allow for that"
    )
    if plots.is_share:
        return [f"{more} (correlation of {kind} within a plot {clumping:.2g})."]
    if not plots.whole:
        return [f"{more}. The response is not in whole insects."]
    return [f"{more} (clumping k = {1 / clumping:.2g})."]


def _few(plots: PlotCounts, fit: TrialFit) -> list[str]:
    """Say so where the degrees of freedom of intervals are not plots less parameters."""
    df, used = fit.model.df, float(fit.model.interval_df[0])
    if used < WORTH_SAYING * df:
        return []
    kind = "events" if plots.is_share else "insects"
    return [
        f"With so few {kind} the variation between plots can take few values and is known better "
        f"than {df} residual degrees of freedom say; intervals use t on {used:.3g}."
    ]


def _left_out(plots: PlotCounts, fit: TrialFit) -> list[str]:
    if fit.whole_model:
        return [
            "Too few plots hold any information for the usual fit; a penalised likelihood (Firth) "
            "was used on all plots. Take its estimates as rough."
        ]
    notes = []
    for name, codes in zip(plots.names, plots.layout.blocks, strict=True):
        gone = np.setdiff1d(np.unique(codes), np.unique(codes[fit.kept]))
        if len(gone) and not set(np.unique(plots.layout.treatment[~fit.kept])) <= _out(plots, fit):
            one = len(gone) == 1
            notes.append(
                f"{len(gone)} {name}{'' if one else 's'} held nothing to compare (all plots zero"
                f"{' or all full' if plots.is_share else ''}); it enters the randomisation test "
                "only, and means are those of the others."
            )
    if len(fit.treatments) == 1:
        notes.append(
            "Only one treatment has anything to estimate variation from; its plots were compared "
            "without blocks."
        )
    if fit.model.penalised.any():
        notes.append("The usual fit has no finite solution; a penalised likelihood was used.")
    return notes


def _out(plots: PlotCounts, fit: TrialFit) -> set[int]:
    return set(range(len(plots.treatments))) - set(fit.treatments.tolist())


def _bounded(plots: PlotCounts, bounds: Mapping[tuple[str, str], Bound]) -> list[str]:
    notes = []
    for i, label in enumerate(plots.treatments):
        side = plots.extreme(i)
        if not side:
            continue
        bound = bounds[label, ""]
        what = "Nothing was found" if side < 0 else "Nothing was free"
        end = f"at most {bound.high:.3g}" if side < 0 else f"at least {bound.low:.3g}"
        unit = "a share" if plots.is_share else "a mean per plot or unit of exposure"
        notes.append(
            f"{what} in any plot of {label}: the data give {unit} of {end} ({bound.method}). Its "
            "ratios to other treatments are bounds too, not estimates."
        )
    return notes


def _tested(test: TreatmentTest) -> list[str]:
    drawn = test.randomisation
    if not test.by_randomisation:
        return [
            f"The treatment test is the model's F test. A randomisation test within blocks gives "
            f"p = {drawn.p:.3g}; with only {drawn.arrangements} arrangements (fewer than "
            f"{FEWEST_ARRANGEMENTS}) it cannot say more."
        ]
    notes = [
        f"The p value of the treatment test is that of a randomisation test within blocks "
        f"({drawn.words}), exact by design; F is the model's."
    ]
    if (drawn.p < ALPHA) != (test.model_p < ALPHA):
        notes.append(
            f"The two tests disagree at {ALPHA:g}: randomisation p = {drawn.p:.3g}, model p = "
            f"{test.model_p:.3g}. Trust the randomisation test, and take the finding as uncertain."
        )
    return notes
