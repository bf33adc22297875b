"""Residual checks said in words, each with what to do."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special, stats

from trialkit.inference.design import Design
from trialkit.inference.estimates import ModelResult

LEVEL = 0.05
FEW = 3
GROSS = "in so few plots only a gross one would show"


@dataclass(frozen=True)
class Check:
    """A check of the residuals: its name, test statistic, p value, and a sentence."""

    name: str
    statistic: float
    p: float
    sentence: str


def in_words(design: Design, model: ModelResult) -> tuple[str, ...]:
    """Return a sentence for each check that suits a continuous single-site model; else nothing."""
    return tuple(check.sentence for check in residual_checks(design, model))


def residual_checks(design: Design, model: ModelResult) -> tuple[Check, ...]:
    """Check normality, equal variance and, with one plot per cell, additivity.

    Empty for models without residuals or other than normal and lognormal. With the few plots of one
    trial these checks find only gross departures; each sentence says so where nothing is found.
    """
    table = model.residuals
    if table.empty or model.family not in ("normal", "lognormal"):
        return ()
    groups = design.frame["treatment"].cat.codes.to_numpy()
    if len(groups) != len(table):
        return ()
    checks = [normality(table), equal_variance(table, groups)]
    if design.kind == "randomised complete block":
        checks.append(additivity(design, model))
    return tuple(check for check in checks if check is not None)


def normality(table: pd.DataFrame) -> Check | None:
    """Shapiro and Wilk's test of the studentised residuals (1965, Biometrika 52:591)."""
    room = np.sqrt(np.maximum(1 - table["leverage"].to_numpy(), 1e-12))
    studentised = table["residual"].to_numpy() / room
    if len(studentised) < FEW or np.ptp(studentised) == 0:
        return None
    W, p = stats.shapiro(studentised)
    if p >= LEVEL:
        fine = f"Residuals show no departure from normality (Shapiro-Wilk p = {p:.2g}); {GROSS}."
        return Check("normality", W, p, fine)
    row = table["row"].iloc[int(np.abs(studentised).argmax())]
    return Check("normality", W, p,
                 f"Residuals are not normal (Shapiro-Wilk p = {p:.2g}); row {row} is farthest off. "
                 "Check that value; if it is right, analyse the logarithm (family 'lognormal') or "
                 "choose the family for counts or proportions.")  # fmt: skip


def equal_variance(table: pd.DataFrame, groups: np.ndarray) -> Check | None:
    """Brown and Forsythe's test: Levene's about medians (1974, J. Am. Stat. Assoc. 69:364)."""
    residual = table["residual"].to_numpy()
    samples = [residual[groups == g] for g in np.unique(groups)]
    apart = [np.abs(sample - np.median(sample)) for sample in samples]
    distances = np.concatenate(apart)
    if min(map(len, samples)) < FEW or np.ptp(distances) <= 1e-12 * distances.max():
        return None
    W, p = _one_way(apart)
    if p >= LEVEL:
        fine = f"Treatments show no difference in spread (Brown-Forsythe p = {p:.2g}); {GROSS}."
        return Check("equal variance", W, p, fine)
    return Check("equal variance", W, p,
                 f"Treatments vary unequally (Brown-Forsythe p = {p:.2g}), so one error for all "
                 "misleads. Analyse the logarithm if the spread grows with the mean, or use the "
                 "family for counts or proportions.")  # fmt: skip


def _one_way(samples: list[np.ndarray]) -> tuple[float, float]:
    """Return F of the one-way analysis of variance of ``samples``, and its p value."""
    size, mean = np.array([len(s) for s in samples]), np.array([s.mean() for s in samples])
    df1, df2 = len(samples) - 1, int(size.sum()) - len(samples)
    between = float(np.sum(size * (mean - np.sum(size * mean) / size.sum()) ** 2))
    within = float(sum(np.sum((s - m) ** 2) for s, m in zip(samples, mean, strict=True)))
    statistic = (df2 * between) / (df1 * within) if within > 0 else np.inf
    return statistic, float(special.fdtrc(df1, df2, statistic))


def additivity(design: Design, model: ModelResult) -> Check | None:
    """Tukey's one degree of freedom for non-additivity (1949, Biometrics 5:232).

    Residuals are regressed on the squared fitted values, freed of block and treatment:
    SS = (r'q)² / q'q, F = SS / ((SSE - SS) / (df - 1)) on 1 and df - 1. With lost plots as well
    (Milliken & Graybill 1970, J. Am. Stat. Assoc. 65:797).
    """
    from trialkit.inference.linear import fit_design

    fit = fit_design(design)
    q = fit.fitted**2
    q = q - fit.basis @ (fit.basis.T @ q)
    length = float(q @ q)
    if fit.df < 2 or length <= 1e-20 * float((fit.fitted**2) @ (fit.fitted**2)):
        return None
    ss = float(fit.residuals @ q) ** 2 / length
    rest = fit.sse - ss
    if rest <= 1e-12 * fit.sse:
        return None
    F = ss / (rest / (fit.df - 1))
    p = float(special.fdtrc(1, fit.df - 1, F))
    if p >= LEVEL:
        fine = (
            "Treatment effects show no growth with the level of the block (Tukey's non-additivity "
            f"p = {p:.2g}); {GROSS}."
        )
        return Check("additivity", F, p, fine)
    return Check("additivity", F, p,
                 f"Treatment effects grow with the level of the block (Tukey's non-additivity "
                 f"p = {p:.2g}). Analyse the logarithm: effects then are ratios.")  # fmt: skip
