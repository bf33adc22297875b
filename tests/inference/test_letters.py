"""Treatments share a letter exactly if not shown to differ. All examples are constructed."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from trialkit.inference.letters import letters


@st.composite
def differences(draw):
    k = draw(st.integers(2, 9))
    flags = draw(st.lists(st.booleans(), min_size=k * (k - 1) // 2, max_size=k * (k - 1) // 2))
    differ = np.zeros((k, k), dtype=bool)
    differ[np.triu_indices(k, 1)] = flags
    return differ | differ.T


@given(differences())
def test_letters_are_shared_exactly_by_pairs_that_do_not_differ(differ):
    found = [set(x) for x in letters(differ)]
    for i in range(len(differ)):
        assert found[i]
        for j in range(i):
            assert bool(found[i] & found[j]) == (not differ[i, j])


@given(differences())
def test_no_letter_is_idle(differ):
    found = letters(differ)
    columns = [{i for i, x in enumerate(found) if c in x} for c in sorted(set("".join(found)))]
    assert not any(a <= b for a in columns for b in columns if a is not b)


def test_all_alike_share_one_letter_and_all_different_share_none():
    assert letters(np.zeros((4, 4), dtype=bool)) == ["a"] * 4
    assert letters(~np.eye(3, dtype=bool)) == ["a", "b", "c"]
