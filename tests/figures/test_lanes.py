import pandas as pd

from tests.figures.conftest import ORDER, events_frame, plots_frame
from trialkit.figures.lanes import TimeAxis, lanes_of, pack

LAST = pd.Timestamp("2025-08-20")


def events(*rows: tuple) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["date", "plot", "event"])


def own_lane(frame: pd.DataFrame, treatment: str) -> tuple:
    lanes = {lane.treatment: lane.items for lane in lanes_of(frame, plots_frame(), ORDER, LAST)}
    return lanes[treatment]


def plots_of(treatment: str) -> list[str]:
    frame = plots_frame()
    return list(frame.loc[frame["treatment"] == treatment, "plot"])


def test_a_cover_is_a_span_from_on_to_off():
    (item,) = own_lane(events_frame(plots_frame()), "netting")
    assert item.span
    assert not item.open_end
    assert [str(day.date()) for day in item.days] == ["2025-05-16", "2025-06-28"]


def test_a_cover_that_never_came_off_is_still_on():
    rows = [("2025-05-16", plot, "cover_on") for plot in plots_of("netting")]
    (item,) = own_lane(events(*rows), "netting")
    assert item.text == "cover still on"
    assert item.days[-1] == LAST


def test_a_cover_put_on_twice_has_two_spans():
    days = (("05-16", "on"), ("06-02", "off"), ("06-10", "on"), ("06-28", "off"))
    rows = [
        (f"2025-{day}", plot, f"cover_{what}") for plot in plots_of("netting") for day, what in days
    ]
    items = own_lane(events(*rows), "netting")
    assert [(i.days[0].day, i.days[1].day) for i in items] == [(16, 2), (10, 28)]


def test_what_every_treatment_had_is_said_once_for_all_plots():
    lanes = lanes_of(events_frame(plots_frame()), plots_frame(), ORDER, LAST)
    texts = {lane.treatment: [item.text for item in lane.items] for lane in lanes}
    assert texts[""] == ["transplanted", "first bloom", "half bloom"]
    assert texts["kaolin"] == ["kaolin sprayed, 6 times"]


def test_an_event_on_some_plots_says_on_how_many():
    frame = events(("2025-06-01", plots_of("clover")[0], "flooded"))
    assert own_lane(frame, "clover")[0].text == "flooded (1 of 4 plots)"


def test_events_of_plots_without_counts_are_left_out():
    frame = events(("2025-06-01", "999", "kaolin_sprayed"))
    assert lanes_of(frame, plots_frame(), ORDER, LAST) == []


def test_text_goes_below_where_neither_side_has_room():
    rows = [(f"2025-05-{day}", plots_of("kaolin")[0], "kaolin_sprayed") for day in (16, 25)]
    lanes = lanes_of(events(*rows), plots_frame(), ORDER, LAST)
    narrow = TimeAxis(pd.Timestamp("2025-05-14"), pd.Timestamp("2025-05-30"), 3.0)
    (lane,) = pack(lanes, {}, narrow)
    assert lane.placed[0].side == "below"
    assert lane.lines == 2


def test_items_that_would_touch_stand_on_lines_of_their_own():
    rows = [("2025-06-01", None, "first_bloom"), ("2025-06-04", None, "half_bloom")]
    lanes = lanes_of(events(*rows), plots_frame(), ORDER, LAST)
    axis = TimeAxis(pd.Timestamp("2025-05-01"), pd.Timestamp("2025-09-01"), 4.5)
    (lane,) = pack(lanes, {}, axis)
    assert [place.line for place in lane.placed] == [0, 1]


def names(axis: TimeAxis) -> list[str]:
    return [text.replace("\u00a0", " ") for text in axis.ticks.values()]


def test_a_time_axis_names_the_months_and_in_a_short_one_their_middle():
    long = TimeAxis(pd.Timestamp("2025-05-20"), pd.Timestamp("2025-08-20"), 4.5)
    assert names(long) == ["1 June", "1 July", "1 August"]
    short = TimeAxis(pd.Timestamp("2025-05-20"), pd.Timestamp("2025-07-01"), 4.5)
    assert names(short) == ["1 June", "15 June", "1 July"]


def test_a_time_axis_of_a_few_days_names_its_ends():
    axis = TimeAxis(pd.Timestamp("2025-06-20"), pd.Timestamp("2025-06-28"), 4.5)
    assert names(axis) == ["20 June", "28 June"]
    assert tuple(axis.ticks) == axis.limits
