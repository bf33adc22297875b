"""The calendar file, read by a parser that had no part in writing it; the printed table."""

import datetime as dt
import warnings

import pytest

from trialkit.planning.calendar import calendar_of, task_table, write_calendar
from trialkit.planning.tasks import Task

with warnings.catch_warnings():  # the parser's own imports, not ours
    warnings.simplefilter("ignore")
    import vobject

TODAY = dt.date(2026, 5, 1)
TASKS = (
    Task(dt.date(2026, 5, 26), "Plant", (), "expected", "planned", "planting"),
    Task(dt.date(2026, 7, 5), "Netting; off, at <bloom>", ("netting",), "due", "seen", "off"),
    Task(None, "Mow", ("clover",), "open", "no date yet", "mow"),
)


@pytest.fixture
def entries(example):
    text = calendar_of(example, 2026, "alder_bench", TASKS, TODAY).decode("utf-8")
    return vobject.readOne(text).vevent_list


def test_an_independent_parser_finds_every_dated_task(entries):
    found = [(entry.dtstart.value, entry.summary.value) for entry in entries]
    assert found == [(task.date, task.what) for task in TASKS if task.date]


def test_entries_last_the_whole_day(entries):
    assert all(e.dtend.value - e.dtstart.value == dt.timedelta(days=1) for e in entries)


def test_identifiers_are_unique_and_stay_when_a_date_moves(example, entries):
    moved = tuple(
        Task(t.date and t.date + dt.timedelta(3), t.what, t.treatments, t.state, t.why, t.rule)
        for t in TASKS
    )
    text = calendar_of(example, 2026, "alder_bench", moved, TODAY).decode("utf-8")
    again = [entry.uid.value for entry in vobject.readOne(text).vevent_list]
    assert [entry.uid.value for entry in entries] == again
    assert len(set(again)) == len(again)


def test_lines_are_as_rfc_5545_wants_them(example):
    """Lines end in CR LF and are at most 75 octets long (RFC 5545, 3.1)."""
    data = calendar_of(example, 2026, "alder_bench", TASKS, TODAY)
    lines = data.split(b"\r\n")
    assert b"\n" not in b"".join(lines)
    assert max(map(len, lines)) <= 75
    assert lines[0] == b"BEGIN:VCALENDAR"


def test_the_same_tasks_give_the_same_file(example):
    one, two = (calendar_of(example, 2026, "alder_bench", TASKS, TODAY) for _ in range(2))
    assert one == two


def test_the_printed_table_lists_all_tasks_and_escapes_markup(example):
    page = task_table(example, 2026, "alder_bench", TASKS)
    assert page.count("<tr><td>") == len(TASKS)
    assert "&lt;bloom&gt;" in page
    assert "<bloom>" not in page


def test_both_files_are_written(example, tmp_path):
    paths = write_calendar(example, 2026, "alder_bench", TASKS, tmp_path, TODAY)
    assert [path.name for path in paths] == ["calendar.ics", "tasks.html"]
    assert all(path.stat().st_size for path in paths)
