import pandas as pd

from tests.figures.boxes import assert_well_set
from trialkit import figures

COLUMNS = ["rule", "what", "treatment", "kind", "plots", "planned_first", "planned_last",
           "happened_first", "happened_last", "kept"]  # fmt: skip


def planned(*rows: tuple) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=COLUMNS)
    dates = [name for name in COLUMNS if name.startswith(("planned", "happened"))]
    return frame.assign(**{name: pd.to_datetime(frame[name]) for name in dates})


def cover(first: str | None, last: str | None, kept: bool) -> tuple:
    return ("netting_off", "Netting comes off at first bloom", "netting", "event", 4,
            "2025-06-20", "2025-06-26", first, last, kept)  # fmt: skip


def visit(date: str, before: str | None, due: str | None, kept: bool) -> tuple:
    return ("scouted", "Plots are scouted every week", "check", "visit", 4, before, due, date, date,
            kept)  # fmt: skip


def test_late_is_counted_from_the_end_of_the_window(study):
    picture = figures.timeline(study, planned(cover("2025-06-24", "2025-07-01", False)))
    assert picture.alt == "Protocol: 0 of 1 on time. Netting comes off at first bloom: 5 days late."


def test_early_is_counted_from_the_start_of_the_window(study):
    picture = figures.timeline(study, planned(cover("2025-06-18", "2025-06-22", False)))
    assert "2 days early" in picture.alt


def test_what_never_happened_is_not_on_record(study):
    assert "not on record" in figures.timeline(study, planned(cover(None, None, False))).alt


def test_late_visits_are_counted_once_for_all_treatments(study, monkeypatch):
    rows = [
        visit("2025-06-01", None, None, True),
        visit("2025-06-08", "2025-06-01", "2025-06-10", True),
        visit("2025-06-24", "2025-06-08", "2025-06-17", False),
    ]
    frame = planned(*rows, *[(*row[:2], "netting", *row[3:]) for row in rows],
                    cover("2025-06-21", "2025-06-22", True))  # fmt: skip
    picture = assert_well_set(lambda: figures.timeline(study, frame), monkeypatch)
    assert picture.alt == "Protocol: 1 of 2 on time. Plots are scouted every week: 1 late visit."


def test_a_study_without_rules_says_so(study):
    assert "no protocol rule" in figures.timeline(study, planned()).alt


def test_what_is_not_due_yet_is_neither_on_time_nor_late(study, monkeypatch):
    mown = ("mown", "Clover is mown", "clover", "event", 4, "2025-07-20", "2025-07-26", None, None,
            True)  # fmt: skip
    waiting = planned(cover("2025-06-21", "2025-06-22", True), mown)
    picture = assert_well_set(lambda: figures.timeline(study, waiting), monkeypatch)
    assert picture.alt == "Protocol: 1 of 1 on time."


def test_an_event_without_a_planned_date_is_drawn_where_it_happened(study):
    unplanned = ("netting_off", "Netting comes off at first bloom", "netting", "event", 4, None,
                 None, "2025-06-24", "2025-06-24", False)  # fmt: skip
    assert "no date planned" in figures.timeline(study, planned(unplanned)).alt
