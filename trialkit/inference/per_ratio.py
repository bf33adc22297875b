"""The ratio of each treatment to the check (or first treatment): environment by environment."""

import numpy as np

from trialkit.inference.count_plan import Plan
from trialkit.inference.first_stage import FirstStage
from trialkit.inference.heterogeneity import Method
from trialkit.inference.joint_pooling import JointFit
from trialkit.inference.pooling import pool


def per_environment(plan: Plan, stage: FirstStage, joint: JointFit) -> list[dict[str, object]]:
    """Return one row per environment and treatment: log ratio to the first, standard error.

    Standard errors are those the ratios are weighed by, at the counts expected if ratios were the
    same everywhere. ``only_bound`` marks the ratios that are only bounded there: their estimate is
    penalised, and by itself known less well than its standard error says.
    """
    names, rows = plan.environments, []
    for group, fit, variance in zip(stage.groups, stage.fits, joint.variances, strict=True):
        present = [plan.treatments[t] for t in group.treatments]
        if present[0] != plan.treatments[0]:
            continue
        for d, place in enumerate(group.places):
            for i, label in enumerate(present[1:], start=1):
                spread = variance[d, i, i] + variance[d, 0, 0] - 2 * variance[d, i, 0]
                cells = {(names[place], label), (names[place], present[0])}
                rows.append(
                    {
                        "environment": names[place],
                        "treatment": label,
                        "versus": present[0],
                        "estimate": float(fit.coefficients[d, i] - fit.coefficients[d, 0]),
                        "se": float(np.sqrt(spread)),
                        "only_bound": bool(cells & set(plan.cells)),
                    }
                )
    return sorted(rows, key=lambda r: (plan.treatments.index(str(r["treatment"])),
                                       names.index(str(r["environment"]))))  # fmt: skip


def per_ratio(
    plan: Plan, stage: FirstStage, joint: JointFit, level: float, method: Method
) -> list[dict[str, object]]:
    """Return, per treatment against the first, the pooled ratio and what to expect elsewhere.

    ``estimate``, ``se`` and ``df`` are those of the contrasts; ``prediction_low`` and ``_high``
    bound the log ratio of one new environment (``prediction``). ``alone`` holds Q, I² with its
    interval and tau² of that ratio pooled on its own.
    """
    rows = per_environment(plan, stage, joint)
    found: list[dict[str, object]] = []
    for i, label in enumerate(plan.treatments[1:], start=1):
        own = [row for row in rows if row["treatment"] == label]
        estimate, se = joint.ratio(i)
        low, high = joint.prediction(i, level)
        found.append(
            {
                "treatment": label,
                "versus": plan.treatments[0],
                "estimate": estimate,
                "se": se,
                "df": float(joint.df),
                "prediction_low": low,
                "prediction_high": high,
                "environments": len(own),
                "alone": _alone(own, level, method),
            }
        )
    return found


def _alone(rows: list[dict[str, object]], level: float, method: Method) -> dict[str, float] | None:
    if len(rows) < 2:
        return None
    estimates = np.array([row["estimate"] for row in rows], dtype=float)
    errors = np.array([row["se"] for row in rows], dtype=float)
    done = pool(estimates, errors, method=method, level=level)
    return {"q": done.q, "q_p": done.q_p, "tau2": done.tau2, "i2": done.i2,
            "i2_low": done.i2_low, "i2_high": done.i2_high}  # fmt: skip
