"""The variance between environments, against metafor and plain arithmetic."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit.inference.heterogeneity import (
    Evidence,
    single,
    tau_squared,
    tau_squared_interval,
    where_q_is,
)

FOLDER = Path(__file__).parent.parent / "reference" / "pooling"


def joint_evidence() -> Evidence:
    """Return the invented three ratios in five environments, one of which lacks a treatment."""
    table = pd.read_csv(FOLDER / "joint_input.csv")
    groups: dict[int, list[tuple[np.ndarray, ...]]] = {}
    for _, part in table.groupby("environment"):
        q = len(part)
        x = np.eye(3)[["ABC".index(t) for t in part["treatment"]]]
        row = (part["y"].to_numpy(), np.diag(part["v"]) + 0.02, x, (np.eye(q) + 1) / 2)
        groups.setdefault(q, []).append(row)
    stacked = [tuple(map(np.stack, zip(*rows, strict=True))) for rows in groups.values()]
    return Evidence(tuple(stacked))


def test_several_ratios_with_one_variance_agree_with_metafor():
    table = pd.read_csv(FOLDER / "joint_values.csv").set_index("quantity")["value"]
    evidence = joint_evidence()
    found = evidence.solve(tau_squared(evidence, "REML"))
    assert found.tau2 == pytest.approx(table["tau2"], rel=1e-4)
    np.testing.assert_allclose(found.beta, table[["beta_A", "beta_B", "beta_C"]], rtol=1e-4)
    spread = np.sqrt(np.diag(found.phi))
    np.testing.assert_allclose(spread, table[["se_A", "se_B", "se_C"]], rtol=1e-4)
    assert evidence.at_zero.q == pytest.approx(table["q"], rel=1e-9)


def test_score_is_the_slope_of_the_restricted_likelihood():
    evidence, step = joint_evidence(), 1e-6
    low, middle, high = (evidence.solve(0.3 + d) for d in (-step, 0.0, step))
    assert middle.score == pytest.approx((high.loglik - low.loglik) / (2 * step), rel=1e-6)


def test_paule_mandel_solves_its_equation_where_looser_solvers_stop_at_zero():
    evidence = joint_evidence()
    found = tau_squared(evidence, "Paule-Mandel")
    assert found > 0
    assert evidence.solve(found).q == pytest.approx(evidence.df, rel=1e-10)


def test_no_variation_beyond_chance_gives_zero_by_every_method():
    evidence = single(np.array([0.1, 0.11, 0.09]), np.array([0.5, 0.4, 0.6]))
    methods = ("REML", "Paule-Mandel", "DerSimonian-Laird")
    assert [tau_squared(evidence, method) for method in methods] == [0.0, 0.0, 0.0]
    assert tau_squared_interval(evidence)[0] == 0.0


def test_profile_of_q_brackets_the_estimate():
    evidence = joint_evidence()
    low, high = tau_squared_interval(evidence)
    assert low <= where_q_is(evidence, evidence.df) <= high
