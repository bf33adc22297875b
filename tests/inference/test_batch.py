"""The batch fit is the ordinary fit, many times over."""

import linear_reference as reference
import numpy as np
import pytest

import trialkit as tk
from trialkit.inference.batch import batch_fit


@pytest.mark.parametrize("name", ["crd", "rcbd", "rcbd_lost", "latin_lost"])
def test_each_row_equals_its_own_analysis(name):
    design = reference.design(name, control="C")
    rng = np.random.default_rng(2)
    responses = rng.normal(20, 3, size=(3, len(design.frame)))
    batch = batch_fit(design, responses)
    for i, y in enumerate(responses):
        frame = reference.case(name).assign(y=y)
        done = tk.analyze(frame, response="y", treatment="treatment", control="C",
                          **reference.BLOCKING[name])  # fmt: skip
        p = done.model.tests.set_index("term").loc["treatment", "p"]
        assert batch.p[i] == pytest.approx(p, rel=1e-9)
        np.testing.assert_allclose(batch.differences[i], done.contrasts["estimate"], rtol=1e-9)
        np.testing.assert_allclose(batch.standard_errors[i], done.contrasts["se"], rtol=1e-9)
        assert batch.df == done.contrasts["df"].iloc[0]
