"""The preliminary F test of an interaction in the table of environments x treatments."""

import numpy as np
import pytest
from scipy import stats

from trialkit.inference.preliminary_test import cell_means, interaction_p


def test_balanced_table_gives_the_ratio_of_mean_squares():
    draw = np.random.default_rng(4)
    table = draw.normal(size=(3, 3, 4))  # sites, seasons, treatments
    grand, season = table.mean(), table.mean(axis=0)
    own = season - season.mean(axis=0) - season.mean(axis=1, keepdims=True) + grand
    site = table.mean(axis=1)
    other = site - site.mean(axis=0) - site.mean(axis=1, keepdims=True) + grand
    flat = table - table.mean(axis=2, keepdims=True) - table.mean(axis=(0, 1)) + grand
    rest = flat - own[None] - other[:, None]
    ratio = (3 * (own**2).sum() / 6) / ((rest**2).sum() / 12)
    site_codes, season_codes = (codes.ravel() for codes in np.indices((3, 3)))
    found = interaction_p(table.reshape(9, 4), season_codes, [site_codes])
    assert found == pytest.approx(stats.f.sf(ratio, 6, 12), rel=1e-9)


def test_nothing_left_to_test_with_is_nan():
    assert np.isnan(interaction_p(np.eye(3), np.arange(3)))


def test_cell_means_of_complete_blocks_are_plain_means_and_gaps_stay_gaps():
    e, b, t = (codes.ravel() for codes in np.indices((2, 3, 2)))
    y = np.random.default_rng(1).normal(size=12)
    kept = (e == 0) | (t == 0)
    found = cell_means(y[kept], e[kept], t[kept], b[kept])
    plain = y.reshape(2, 3, 2).mean(axis=1)
    np.testing.assert_allclose(found[0], plain[0])
    assert found[1, 0] == pytest.approx(plain[1, 0])
    assert np.isnan(found[1, 1])


def test_lost_plot_is_made_good_for_by_its_block():
    e, b, t = (codes.ravel() for codes in np.indices((1, 3, 2)))
    y = 10.0 * b + t  # exact: treatment 1 is one more, blocks differ by ten
    found = cell_means(y[1:], e[1:], t[1:], b[1:])
    assert found[0, 1] - found[0, 0] == pytest.approx(1.0)
