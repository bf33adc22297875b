"""Bad input is refused in words by every family and layout, never with another kind of failure."""

import numpy as np
import pandas as pd
import pytest

import trialkit as tk
from trialkit.errors import AnalysisError

FAMILIES = ("normal", "lognormal", "count", "proportion", "ordinal")
LAYOUTS = [(family, layout) for family in FAMILIES for layout in ("one trial", "across")]
LAYOUTS.append(("normal", "split plot"))


def trial(layout: str) -> pd.DataFrame:
    e, b, t = (codes.ravel() for codes in np.indices((3 if layout != "one trial" else 1, 3, 4)))
    y = np.random.default_rng(1).poisson(9, len(e)) + t
    frame = pd.DataFrame({"e": e, "b": b, "t": t, "y": y.astype(float), "n": 40})
    return frame.astype({"t": str})


def spoil(kind: str, frame: pd.DataFrame) -> pd.DataFrame:
    y, t = frame["y"], frame["t"]
    return {
        "one treatment": lambda: frame.assign(t="A"),
        "one block": lambda: frame.assign(b=1),
        "a treatment missing everywhere": lambda: frame.assign(y=y.where(t != "1")),
        "a constant response": lambda: frame.assign(y=5.0),
        "infinity": lambda: frame.assign(y=y.where(frame.index != 3, np.inf)),
        "text": lambda: frame.assign(y=y.astype(object).where(frame.index != 3, "lots")),
        "confounded block": lambda: frame.assign(b=t),
        "a treatment twice": lambda: pd.concat([frame, frame.iloc[[2]]], ignore_index=True),
        "no value": lambda: frame.assign(y=np.nan),
        "an unknown control": lambda: frame,
    }[kind]()


KINDS = (
    "one treatment", "one block", "a treatment missing everywhere", "a constant response",
    "infinity", "text", "confounded block", "a treatment twice", "no value", "an unknown control",
)  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("family", "layout"), LAYOUTS)
def test_it_is_refused_in_words(family, layout, kind):
    role = {"across": {"environment": "e"}, "split plot": {"whole_plot": "e"}}.get(layout, {})
    size = {"trials": "n"} if family == "proportion" else {}
    control = "untreated" if kind == "an unknown control" else None
    frame = spoil(kind, trial(layout))
    with pytest.raises(AnalysisError, match=r"\.$"):
        tk.analyze(frame, response="y", treatment="t", block="b", family=family, control=control,
                   **role, **size)  # fmt: skip
