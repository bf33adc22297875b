"""What pooling over environments says of itself, in sentences fit to be printed."""

from trialkit.inference.count_plan import Plan
from trialkit.inference.joint_pooling import JointFit

FEW_ENVIRONMENTS = 4


def method_of(family: str, method: str) -> str:
    """Return the method in one sentence."""
    what = "odds ratios" if family == "binomial" else "ratios"
    return (
        f"Two stages: {what} of every environment from a penalised {family} model with the "
        f"dispersion estimated, pooled as random effects ({method} variance between environments, "
        "one for all ratios) with Hartung-Knapp intervals"
    )


def notes_of(plan: Plan, joint: JointFit) -> tuple[str, ...]:
    """Return what a reader must know of the pooled result."""
    return (
        *_bounded_notes(plan),
        *_extreme_notes(plan),
        *_empty_notes(plan),
        *_factor_notes(joint),
        *_size_notes(plan, joint),
    )


def _bounded_notes(plan: Plan) -> list[str]:
    if not plan.cells:
        return []
    cells = "; ".join(f"{t} at {e}" for e, t in plan.cells)
    return [
        f"Ratios that are only a bound in their environment ({cells}) take part through a "
        "penalised estimate, in effect half an event in all, and weigh by the events that would be "
        "expected there if ratios were the same everywhere."
    ]


def _extreme_notes(plan: Plan) -> list[str]:
    notes = []
    for label, side in plan.extreme.items():
        what = "Nothing was" if side < 0 else "Nothing else was"
        notes.append(
            f"{what} found on {label} in any environment, so its ratios are bounds; it takes no "
            "part in the test of treatments and in the variance between environments."
        )
    return notes


def _empty_notes(plan: Plan) -> list[str]:
    if not plan.empty:
        return []
    return [f"{', '.join(plan.empty)}: all plots alike at zero or at the top, which says nothing "
            "of a ratio, and left out."]  # fmt: skip


def _factor_notes(joint: JointFit) -> list[str]:
    if not joint.held:
        return []
    return ["The environments agree at least as closely as chance allows; the intervals were not "
            "let become narrower for it (safeguard)."]  # fmt: skip


def _size_notes(plan: Plan, joint: JointFit) -> list[str]:
    notes = []
    if joint.df and joint.tau2 == 0:
        notes.append("No variation of the ratios between environments is seen beyond chance.")
    if len(plan.environments) <= FEW_ENVIRONMENTS:
        notes.append(
            f"With {len(plan.environments)} environments the variation between them is poorly "
            "known; a prediction for a new environment is a rough guide."
        )
    return notes
