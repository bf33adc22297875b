"""Effects far beyond what a field shows still have finite limits."""

import pytest

from trialkit.inference import effect_sizes


@pytest.mark.parametrize("t", [-40.0, -12.0, 12.0, 40.0])
def test_hedges_g_has_finite_limits_that_mirror_each_other_for_huge_effects(t):
    effect = effect_sizes.hedges_g(difference=t, sd=1.0, se=1.0, df=12.0)
    mirror = effect_sizes.hedges_g(difference=-t, sd=1.0, se=1.0, df=12.0)
    assert effect.low < effect.value < effect.high
    assert effect.low == pytest.approx(-mirror.high, rel=1e-9)
