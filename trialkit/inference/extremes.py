"""Treatments on which nothing, or nothing but events, was found: finite means and bounds."""

from dataclasses import dataclass

import numpy as np

from trialkit.inference import bounds
from trialkit.inference.estimates import Bound
from trialkit.inference.plot_counts import PlotCounts
from trialkit.inference.treatment_model import TreatmentFit

HALF = 0.5


@dataclass(frozen=True)
class TrialFit:
    """The fit of one trial: the model of the plots ``kept`` (n,) and where it leaves the rest.

    treatments: codes of the treatments in the model, in the order of its estimates.
    whole_model: whether all plots are in it (penalised), extreme treatments included.
    """

    model: TreatmentFit
    kept: np.ndarray
    treatments: np.ndarray
    whole_model: bool

    def place(self, treatment: int) -> int | None:
        """Return the position of a treatment in the model, or None."""
        found = np.flatnonzero(self.treatments == treatment)
        return int(found[0]) if len(found) else None

    def block_link(self, plots: PlotCounts) -> np.ndarray:
        """Return the effect of each plot's blocks on the link (n,); NaN in a block left out."""
        effect = np.zeros(len(plots.response))
        start = len(self.treatments)
        for full, _ in zip(plots.layout.blocks, self.model.layout.blocks, strict=False):
            levels = np.unique(full[self.kept])
            free = self.model.fitted.coefficients[0, start : start + len(levels) - 1]
            start += len(levels) - 1
            table = np.full(full.max() + 1, np.nan)
            table[levels] = np.append(free, -free.sum())
            effect = effect + table[full]
        return effect


def means(plots: PlotCounts, fit: TrialFit) -> tuple[np.ndarray, np.ndarray]:
    """Return estimate (k,) and covariance (k, k) of all treatments, the extreme ones finite.

    A treatment without any insect is given half an insect in all (half of the dispersion, for
    insect-days), and a share without any event half an event, as Jeffreys' prior does for a single
    total (Firth 1993, Biometrika 80:27); the variance of the logarithm of half an event is 2.
    """
    k = len(plots.treatments)
    estimate, covariance = np.zeros(k), np.zeros((k, k))
    inside = fit.treatments
    estimate[inside] = fit.model.estimate[0]
    covariance[np.ix_(inside, inside)] = fit.model.covariance[0]
    for i in set(range(k)) - set(inside.tolist()):
        estimate[i], covariance[i, i] = _half_an_event(plots, fit, i)
    return estimate, covariance


def _half_an_event(plots: PlotCounts, fit: TrialFit, i: int) -> tuple[float, float]:
    link, size = _plots_in_blocks(plots, fit, i)
    if plots.is_share:
        return float(plots.extreme(i) * np.log((size.sum() + HALF) / HALF)), 2.0
    load = size * np.exp(link)
    clumping = float(fit.model.dispersion.clumping[0]) * (load**2).sum() / load.sum() ** 2
    phi = float(fit.model.dispersion.phi[0])
    return float(np.log(HALF * phi / load.sum())), 2.0 + clumping


def _plots_in_blocks(plots: PlotCounts, fit: TrialFit, i: int) -> tuple[np.ndarray, np.ndarray]:
    """Return block effect and size of a treatment's plots in blocks where something was found."""
    inside = plots.plots_of(i)
    link, size = fit.block_link(plots)[inside], plots.size[inside]
    known = np.isfinite(link)
    if not known.any():
        return np.zeros(len(link)), size
    return link[known], size[known]


def find_bounds(plots: PlotCounts, fit: TrialFit, level: float) -> dict[tuple[str, str], Bound]:
    """Return bounds on means ``(treatment, "")`` and contrasts of the extreme treatments."""
    k, labels = len(plots.treatments), plots.treatments
    sides = [plots.extreme(i) for i in range(k)]
    found: dict[tuple[str, str], Bound] = {}
    for i in (i for i in range(k) if sides[i]):
        found[labels[i], ""] = _mean_bound(plots, fit, i, level)
        for j in range(k):
            if j != i and sides[j] == sides[i]:
                found[labels[i], labels[j]] = Bound(0.0, np.inf, nothing_said(sides[i]))
            elif j != i and (labels[j], labels[i]) not in found:
                found[labels[i], labels[j]] = _ratio_bound(plots, fit, i, j, level)
    return found


def _mean_bound(plots: PlotCounts, fit: TrialFit, i: int, level: float) -> Bound:
    side, (link, size) = plots.extreme(i), _plots_in_blocks(plots, fit, i)
    alone = _reference(plots, fit, None, side)
    end, _ = bounds.upper(plots.family, -side * link, size, alone, level)
    words = method_words(side, level)
    if not plots.is_share:
        return Bound(0.0, float(np.exp(end)), words)
    share = float(1 / (1 + np.exp(-end)))
    return Bound(0.0, share, words) if side < 0 else Bound(1 - share, 1.0, words)


def _ratio_bound(plots: PlotCounts, fit: TrialFit, i: int, j: int, level: float) -> Bound:
    side, (link, size) = plots.extreme(i), _plots_in_blocks(plots, fit, i)
    place = fit.place(j)
    other = fit.model.estimate[0, place] if place is not None else _half_an_event(plots, fit, j)[0]
    moved = -side * (link + other)
    end, p = bounds.upper(plots.family, moved, size, _reference(plots, fit, j, side), level)
    ratio = float(np.exp(min(end, 700.0)))
    words = method_words(side, level)
    return Bound(0.0, ratio, words, p) if side < 0 else Bound(1 / ratio, np.inf, words, p)


def _reference(plots: PlotCounts, fit: TrialFit, j: int | None, side: int) -> bounds.Reference:
    """Return what is known of treatment j (or of nothing but the variation between plots)."""
    found = fit.model.dispersion
    phi, clumping = float(found.phi[0]), float(found.clumping[0])
    phi = max(phi, 1.0 if plots.whole else _one_insect(plots, float(found.pearson[0])))
    if j is None:
        return bounds.Reference(np.ones(1), phi, clumping)
    inside, place = plots.plots_of(j), fit.place(j)
    events = max(plots.response[inside].sum(), HALF)
    others = max((plots.size - plots.response)[inside].sum(), HALF) if plots.is_share else np.inf
    variance = 1 / events + 1 / others
    if place is not None:
        variance = max(float(fit.model.covariance[0, place, place]), variance)
    odds = bounds.relative_odds(events, others, variance)
    return bounds.Reference(odds if side < 0 else 1 / odds, phi, clumping)


def _one_insect(plots: PlotCounts, ratio: float) -> float:
    """Return how much one insect can add to a response that is not in whole insects.

    No more than the smallest response found, and no more than Pearson's ratio, which is what one
    insect adds where they fall on plots independently.
    """
    return min(ratio, float(plots.response[plots.response > 0].min()))


def method_words(side: int, level: float, supposed: str = "plots varying as the others do") -> str:
    """Return in words how a bound was obtained."""
    what = "finding nothing at all" if side < 0 else "finding nothing else"
    return (
        f"{100 * level:g} % bound: beyond it, {what} on these plots would have had a chance of "
        f"less than {100 * (1 - level):.3g} %, {supposed}"
    )


def nothing_said(side: int) -> str:
    """Return why two treatments that are both extreme have no bound on their ratio."""
    what = "nothing was found" if side < 0 else "nothing else was found"
    return f"no bound: {what} on either treatment, so the data cannot tell them apart"
