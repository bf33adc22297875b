import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from trialkit.figures.ticks import STEPS, round_ticks


@given(st.floats(-1e4, 1e4), st.floats(0.01, 1e4), st.integers(2, 9))
def test_ticks_stand_where_matplotlib_puts_them(low, width, parts):
    axes = Figure().add_axes((0, 0, 1, 1))
    axes.set_xlim(low, low + width)
    axes.xaxis.set_major_locator(MaxNLocator(parts, steps=STEPS))
    reach = 1e-9 * width  # as far off as a tick at a limit may be for rounding
    drawn = [t for t in axes.get_xticks() if low - reach <= t <= low + width + reach]
    assert [*round_ticks(low, low + width, parts)] == pytest.approx(drawn, abs=1e-6 * width)


@pytest.mark.parametrize(
    ("limits", "texts"),
    [
        ((0, 6.2), ["0", "2", "4", "6"]),
        ((-0.5, 0.5), ["\u22120.50", "\u22120.25", "0.00", "0.25", "0.50"]),
        ((0, 2600), ["0", "1000", "2000"]),
    ],
)
def test_labels_have_the_decimals_that_the_steps_need(limits, texts):
    assert [*round_ticks(*limits, 4).values()] == texts


def test_labels_may_be_said_otherwise():
    assert round_ticks(0, 10, 2, lambda value: f"{value:g} %") == {0: "0 %", 5: "5 %", 10: "10 %"}
