"""How many more site-seasons a running study needs."""

import numpy as np
import pytest
from scipy import stats

from trialkit.errors import AnalysisError
from trialkit.inference.more_needed import chance_settled, more_needed


def simulated(estimate: float, se: float, now: int, more: int, margin: float) -> float:
    rng, runs, t = np.random.default_rng(8), 200_000, 5
    truth = rng.normal(estimate, se, runs)
    spread = se * np.sqrt(now)
    new = truth + rng.normal(0, spread / np.sqrt(more), runs)
    final = (now * estimate + more * new) / (now + more)
    half = stats.t.ppf(0.975, (t - 1) * (now + more - 1)) * spread / np.sqrt(now + more)
    settled = (np.abs(final) > half) | (np.abs(final) + half < margin)
    return settled.mean()


@pytest.mark.parametrize(("estimate", "margin"), [(0.12, 0.1), (0.02, 0.3), (0.0, 0.15)])
@pytest.mark.parametrize("more", [2, 6])
def test_the_chance_is_what_simulation_gives(estimate, margin, more):
    table = chance_settled(estimate, 0.08, 4, margin, treatments=5)
    found = table.loc[table["more"] == more, "chance"].item()
    assert found == pytest.approx(simulated(estimate, 0.08, 4, more, margin), abs=0.005)


def test_a_settled_contrast_needs_no_more():
    table = chance_settled(0.5, 0.05, 5, 0.1, treatments=5)
    assert table.loc[0, "chance"] == 1
    assert more_needed(table) == 0


def test_an_open_contrast_needs_some_and_the_half_width_shrinks():
    table = chance_settled(0.10, 0.08, 3, 0.05, treatments=5, most=60)
    assert table.loc[0, "chance"] == 0
    assert more_needed(table) > 1
    assert (np.diff(table["half_width"]) < 0).all()


def test_out_of_reach_is_none():
    assert more_needed(chance_settled(0.0, 1.0, 3, 0.01, treatments=5, most=5)) is None


def test_one_site_season_cannot_say():
    with pytest.raises(AnalysisError, match="two site-seasons"):
        chance_settled(0.1, 0.1, 1, 0.1)


def test_site_seasons_of_twice_the_precision_narrow_the_interval_as_twice_as_many_do():
    plain = chance_settled(0.1, 0.08, 4, 0.1, treatments=5).set_index("more")["half_width"]
    finer = chance_settled(0.1, 0.08, 4, 0.1, treatments=5, precision=2.0)
    finer = finer.set_index("more")["half_width"]
    t = [stats.t.ppf(0.975, 4 * (4 + n - 1)) for n in (3, 6)]
    assert finer[3] / t[0] == pytest.approx(plain[6] / t[1])
