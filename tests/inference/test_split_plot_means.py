"""Whole-plot and cell means of Yates' oats, whole and with lost plots, against lme4 and emmeans."""

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.inference.across_reference import OATS_LOST_PLOTS, oats
from trialkit.inference.analysis import Analysis
from trialkit.inference.split_plot import fit_split_plot

FOLDER = Path(__file__).parent.parent / "reference" / "split_plot"
LOST = {"oats": None, "oats_lost_plots": OATS_LOST_PLOTS}
CLOSE = 1e-4  # what an optimiser leaves of components in R; closed forms are held more closely
NAMES = {"emmean": "mean", "estimate": "estimate", "se": "se", "df": "df"}


@cache
def expected(case: str) -> dict[tuple[str, str], dict[str, float]]:
    """Return (kind, label) -> quantity -> value of R."""
    table = pd.read_csv(FOLDER / "values.csv")
    found: dict[tuple[str, str], dict[str, float]] = {}
    for row in table[table["case"] == case].itertuples():
        kind, label, quantity = row.quantity.split("|")
        found.setdefault((kind, label.replace(" N", ", ")), {})[quantity] = row.value
    return found


@pytest.fixture(params=LOST, scope="module")
def fitted(request) -> tuple[Analysis, str]:
    design = oats(LOST[request.param])
    return Analysis(design, fit_split_plot(design), 0.95, "tukey"), request.param


def agree(row: pd.Series, values: dict[str, float], sign: float = 1.0) -> None:
    for name, value in values.items():
        if name in NAMES:
            turned = sign * value if name == "estimate" else value
            assert row[NAMES[name]] == pytest.approx(turned, rel=CLOSE, abs=1e-9)


@pytest.mark.parametrize("kind", ["whole_plot", "cell"])
def test_means_standard_errors_and_degrees_of_freedom_agree_with_emmeans(fitted, kind):
    analysis, case = fitted
    table = analysis.further[kind].means.set_index("level")
    wanted = {label: values for (k, label), values in expected(case).items() if k == kind}
    assert set(table.index) == set(wanted)
    for label, values in wanted.items():
        agree(table.loc[label], values)


@pytest.mark.parametrize("kind", ["whole_plot", "cell"])
def test_differences_agree_with_emmeans(fitted, kind):
    analysis, case = fitted
    wanted = expected(case)
    for _, row in analysis.further[kind].contrasts.iterrows():
        key, turned = (f"{kind}_pair", f"{row['versus']} - {row['level']}"), -1.0
        if key not in wanted:
            key, turned = (f"{kind}_pair", f"{row['level']} - {row['versus']}"), 1.0
        agree(row, wanted[key], turned)


def test_tukey_p_of_whole_plots_agrees_with_emmeans(fitted):
    analysis, case = fitted
    wanted = expected(case)
    for _, row in analysis.further["whole_plot"].contrasts.iterrows():
        p = wanted["whole_plot_pair", f"{row['versus']} - {row['level']}"]["p"]
        # With lost plots emmeans takes the studentised range for a multivariate t.
        assert row["p_adjusted"] == pytest.approx(p, abs=1e-6 if case == "oats" else 0.005)


def test_cells_are_compared_on_one_level_or_of_one_treatment(fitted):
    table = fitted[0].further["cell"].contrasts
    assert len(table) == 3 * 6 + 4 * 3
    for level, versus in zip(table["level"], table["versus"], strict=True):
        shared = [a == b for a, b in zip(level.split(", "), versus.split(", "), strict=True)]
        assert sum(shared) == 1


def test_average_of_cells_is_the_mean_of_the_treatment(fitted):
    analysis, _ = fitted
    cells = analysis.further["cell"].means["mean"].to_numpy().reshape(3, 4)
    np.testing.assert_allclose(cells.mean(axis=0), analysis.means["mean"], rtol=1e-9)


def test_further_tables_are_part_of_the_plain_answer(fitted):
    told = fitted[0].to_dict()["further"]
    assert set(told) == {"whole_plot", "cell"}
    assert len(told["cell"]["means"]) == 12
    assert told["whole_plot"]["means"][0]["letters"] == "a"
