"""The design of one analysis: which column plays which part, what was left out, and why.

Everything that comes from outside is checked here once, so that the models may trust it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, cast, get_args

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference import columns_in, layout
from trialkit.inference.labels import label_of, natural_order

Family = Literal["normal", "lognormal", "count", "proportion", "ordinal"]
FACTORS = ("treatment", "block", "row", "column", "whole_plot", "environment")
NUMBERS = ("response", "trials", "exposure")


@dataclass(frozen=True)
class Dropped:
    """A row left out of the analysis: its index label in the input, and the reason in words."""

    row: object
    reason: str


@dataclass(frozen=True)
class Design:
    """Checked data of one analysis.

    frame   : the rows used, under their original index labels, with those of the columns
              ``response, treatment, block, row, column, whole_plot, environment, trials,
              exposure`` that the design has. Factors are categoricals of text in natural order
              (the check first); numbers are floats. Blocks are labelled as the user did: with
              environments, block 1 of one environment is another block than block 1 of the next.
    dropped : rows left out, with reasons.
    control : label of the untreated check, or None.
    family  : the kind of response.
    names   : canonical name -> the user's column name.
    rows    : rows given, before any was left out.
    """

    frame: pd.DataFrame
    dropped: tuple[Dropped, ...]
    control: str | None
    family: Family
    names: Mapping[str, str]
    rows: int

    @property
    def treatments(self) -> tuple[str, ...]:
        """Treatment labels in reporting order, the check first."""
        return tuple(self.frame["treatment"].cat.categories)

    @property
    def nested(self) -> bool:
        """Whether it is a split plot whose treatments each stand in whole plots of one level."""
        return layout.is_nested(self.frame)

    @property
    def kind(self) -> str:
        """The design's name in words."""
        if "environment" in self.frame:
            return "several environments"
        if "whole_plot" in self.frame:
            return "split plot"
        if "row" in self.frame:
            return "Latin square"
        return "randomised complete block" if "block" in self.frame else "completely randomised"


def make_design(
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
) -> Design:
    """Check and convert a tidy frame (one row per plot) into a Design.

    For ``family="count"`` the response is a total that cannot be negative (fractions are allowed:
    insect-days), and ``exposure`` the plants or area it was taken from; for ``"proportion"`` the
    response counts events out of ``trials``. Rows without response or without a factor are left
    out and listed. Where a block holds a treatment more than once, a column ``plot`` of ``frame``
    has to tell the plots apart. Raises AnalysisError, naming column, value and remedy, for data
    that cannot answer the question.

    >>> import pandas as pd
    >>> frame = pd.DataFrame({"y": [3.0, 4, 5, None], "t": list("ABAB")}, index=[2, 3, 4, 5])
    >>> design = make_design(frame, response="y", treatment="t")
    >>> design.treatments, design.kind, design.dropped
    (('A', 'B'), 'completely randomised', (Dropped(row=5, reason="'y' is missing"),))
    """
    given = {"response": response, "treatment": treatment, "block": block, "row": row,
             "column": column, "whole_plot": whole_plot, "environment": environment,
             "trials": trials, "exposure": exposure}  # fmt: skip
    names = {role: name for role, name in given.items() if name is not None}
    kind = _family(family)
    columns_in.check_columns(frame, names)
    layout.check_roles(names, kind)
    whole = _canonical(frame, names)
    kept, dropped = _leave_out(whole, frame.index, names)
    used = pd.DataFrame({role: column[kept] for role, column in whole.items()}, frame.index[kept])
    layout.check_treatments_left(whole["treatment"], used, names)
    layout.check_values(used, names, kind)
    layout.check_split_plot(used, names, kind)
    check = _control(used, control, names)
    layout.check_layout(used, names, _plots(frame, used))
    return Design(_ordered(used, frame, names, check), dropped, check, kind, names, len(frame))


def _family(family: str) -> Family:
    known = get_args(Family)
    if family not in known:
        raise AnalysisError(f"Unknown family '{family}'. Choose one of: {', '.join(known)}.")
    return cast(Family, family)


def _canonical(frame: pd.DataFrame, names: Mapping[str, str]) -> dict[str, np.ndarray]:
    """Return the columns by role: numbers as floats, labels as text or None."""
    return {
        role: columns_in.number_column(frame[name], role).to_numpy()
        if role in NUMBERS
        else columns_in.labels_in(frame[name])
        for role, name in names.items()
    }


def _leave_out(
    whole: Mapping[str, np.ndarray], index: pd.Index, names: Mapping[str, str]
) -> tuple[np.ndarray, tuple[Dropped, ...]]:
    """Return which rows are complete, and the others with the first reason found."""
    reasons = np.full(len(index), None, dtype=object)
    kept = np.ones(len(index), dtype=bool)
    for role, name in names.items():
        empty = pd.isna(whole[role]) & kept
        reasons[empty], kept[empty] = f"'{name}' {columns_in.MISSING}", False
    if "trials" in whole:
        nothing = (whole["trials"] == 0) & kept
        reasons[nothing], kept[nothing] = f"'{names['trials']}' is 0: nothing was examined", False
    lost = np.flatnonzero(~kept)
    return kept, tuple(Dropped(index[row], str(reasons[row])) for row in lost.tolist())


def _plots(frame: pd.DataFrame, used: pd.DataFrame) -> pd.Series | None:
    """Return the plot labels of the rows used, if the frame has a column ``plot``."""
    if "plot" not in frame.columns or not frame.index.is_unique:
        return None
    plots = columns_in.factor_column(frame["plot"])
    return plots if len(plots) == len(used) else plots.loc[used.index]


def _control(used: pd.DataFrame, control: object, names: Mapping[str, str]) -> str | None:
    label = label_of(control)
    if label is not None and label not in set(used["treatment"].to_numpy()):
        known = natural_order(used["treatment"])
        raise AnalysisError(
            f"Column '{names['treatment']}' has no treatment '{label}', named as control. "
            f"The treatments are: {', '.join(known)}."
        )
    return label


def _ordered(
    used: pd.DataFrame, frame: pd.DataFrame, names: Mapping[str, str], control: str | None
) -> pd.DataFrame:
    """Return the frame with factors as categoricals, in the user's own order where one is set."""
    columns: dict[str, Any] = {}
    for role in names:
        if role not in FACTORS:
            columns[role] = used[role].array
            continue
        first = control if role == "treatment" else None
        levels = natural_order(used[role].to_numpy(), first)
        dtype = frame[names[role]].dtype
        if isinstance(dtype, pd.CategoricalDtype) and dtype.ordered:
            stated = [label for label in map(label_of, dtype.categories) if label in levels]
            levels = [x for x in levels if x == first] + [str(x) for x in stated if x != first]
        place = {label: n for n, label in enumerate(levels)}
        codes = [place.get(label, -1) for label in used[role].to_numpy()]
        columns[role] = pd.Categorical.from_codes(codes, categories=pd.Index(levels))
    return pd.DataFrame(columns, used.index)
