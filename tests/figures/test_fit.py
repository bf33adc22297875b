from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from trialkit.figures.fit import spread

sizes_and_wishes = st.lists(
    st.tuples(st.floats(0, 10), st.floats(0.1, 1.0)), min_size=1, max_size=10
)


@given(sizes_and_wishes)
def test_spread_labels_never_overlap_and_stay_inside(labels):
    wanted, sizes = zip(*labels, strict=True)
    centres = spread(wanted, sizes, 0.0, 11.0)
    placed = sorted(zip(centres, sizes, strict=True))
    for (low, below), (high, above) in pairwise(placed):
        assert high - low >= (below + above) / 2 - 1e-9
    assert placed[0][0] - placed[0][1] / 2 >= -1e-9
    assert placed[-1][0] + placed[-1][1] / 2 <= 11.0 + 1e-9


@given(sizes_and_wishes)
def test_spread_keeps_the_order(labels):
    wanted, sizes = zip(*labels, strict=True)
    centres = spread(wanted, sizes, 0.0, 11.0)
    order = sorted(range(len(wanted)), key=lambda index: wanted[index])
    placed = [centres[index] for index in order]
    assert placed == sorted(placed)


def test_labels_with_room_stay_where_they_are():
    assert spread([1.0, 5.0, 9.0], [1.0, 1.0, 1.0], 0.0, 10.0) == [1.0, 5.0, 9.0]
