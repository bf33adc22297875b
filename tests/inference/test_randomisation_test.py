"""The randomisation test: all arrangements where there are few, honest draws where many."""

import itertools

import numpy as np
import pytest

from trialkit.inference import randomisation_test as rt

SCORES = np.array([3.0, 9, 4, 1, 7, 5, 2, 2, 8, 6, 6, 1])
TREATMENT = np.tile([0, 1, 2], 4)
BLOCK = np.repeat(range(4), 3)


def test_exact_p_is_that_of_listing_every_arrangement_by_hand():
    def spread(labels):
        return sum(SCORES[labels == i].sum() ** 2 for i in range(3))

    all_labels = [np.concatenate(rows) for rows in
                  itertools.product(itertools.permutations(range(3)), repeat=4)]  # fmt: skip
    values = np.array([spread(labels) for labels in all_labels])
    expected = (values >= spread(TREATMENT) - 1e-9).mean()
    assert rt.within_blocks(SCORES, TREATMENT, BLOCK).p == pytest.approx(expected, abs=1e-12)


def test_a_lost_plot_and_a_repeated_treatment_are_listed_too():
    treatment, block = np.array([0, 1, 1, 2, 0, 2]), np.array([0, 0, 0, 1, 1, 1])
    found = rt.within_blocks(SCORES[:6], treatment, block)
    assert (found.arrangements, found.exact) == (9, True)


def test_drawn_p_agrees_with_the_exact_one(monkeypatch):
    exact = rt.within_blocks(SCORES, TREATMENT, BLOCK)
    monkeypatch.setattr(rt, "MOST_ARRANGEMENTS", 10)
    drawn = rt.within_blocks(SCORES, TREATMENT, BLOCK)
    assert not drawn.exact
    assert drawn.p == pytest.approx(exact.p, abs=4 * np.sqrt(exact.p * (1 - exact.p) / rt.DRAWS))


def test_renaming_treatments_changes_nothing():
    renamed = np.array([2, 0, 1])[TREATMENT]
    one, other = (rt.within_blocks(SCORES, t, BLOCK) for t in (TREATMENT, renamed))
    assert other.p == pytest.approx(one.p)
    assert other.statistic == pytest.approx(one.statistic)


def test_equal_scores_give_p_of_one():
    assert rt.within_blocks(np.ones(12), TREATMENT, BLOCK).p == 1


def test_the_same_data_always_give_the_same_p():
    scores = np.arange(30.0) % 7
    treatment, block = np.tile(range(5), 6), np.repeat(range(6), 5)
    one, other = (rt.within_blocks(scores, treatment, block) for _ in range(2))
    assert one.p == other.p
    assert one.arrangements == rt.DRAWS


def test_many_shares_the_statistic_of_one():
    p = rt.many(SCORES[None], TREATMENT, BLOCK, 4000, np.random.default_rng(1))
    assert p[0] == pytest.approx(rt.within_blocks(SCORES, TREATMENT, BLOCK).p, abs=0.03)


@pytest.mark.parametrize("lost", [0, 3])
def test_draws_that_measures_share_are_those_drawn_afresh(lost):
    block, treatment = np.repeat(np.arange(4), 5)[lost:], np.tile(np.arange(5), 4)[lost:]
    mixed = np.random.default_rng(2).permutation(len(block))
    block, treatment = block[mixed], treatment[mixed]
    shared = rt.seeded_labels(tuple(treatment.tolist()), tuple(block.tolist()), 200)
    afresh = rt.draw_labels(treatment, block, 200, np.random.default_rng(rt.SEED))
    np.testing.assert_array_equal(shared, afresh)
