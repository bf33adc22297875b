"""The tasks as an iCalendar file (RFC 5545) and as a table to print."""

import datetime as dt
import html
from collections.abc import Sequence
from pathlib import Path

import icalendar

from trialkit.planning.tasks import Task
from trialkit.study import Study

PRODUCT = "-//trialkit//trial calendar//EN"


def calendar_of(
    study: Study, season: int, site: str, tasks: Sequence[Task], today: dt.date
) -> bytes:
    """Return an iCalendar file with one all-day entry a dated task.

    Entries keep their identifiers from one version to the next, so that importing a newer file
    moves them; ``today`` stamps the version.
    """
    calendar = icalendar.Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"{study.site(site).name} {season}: {study.title}")
    for task in tasks:
        if task.date is not None:
            prefix = f"{study.name}-{season}-{site}"
            calendar.add_component(_entry(study, prefix, task, task.date, today))
    return calendar.to_ical()


def _entry(study: Study, prefix: str, task: Task, date: dt.date, today: dt.date) -> icalendar.Event:
    entry = icalendar.Event()
    entry.add("uid", f"{prefix}-{task.rule}@trialkit.invalid")
    entry.add("dtstamp", dt.datetime(today.year, today.month, today.day, tzinfo=dt.UTC))
    entry.add("dtstart", date)
    entry.add("dtend", date + dt.timedelta(days=1))
    entry.add("summary", task.what)
    entry.add("description", _description(study, task))
    entry.add("status", "CONFIRMED" if task.state in ("done", "due") else "TENTATIVE")
    entry.add("transp", "TRANSPARENT")
    return entry


def _description(study: Study, task: Task) -> str:
    names = ", ".join(study.treatment(name).name for name in task.treatments) or "all plots"
    return f"{names}; {task.state}: {task.why}"


def task_table(study: Study, season: int, site: str, tasks: Sequence[Task]) -> str:
    """Return a page of HTML to print: date, task, plots, why, and a box to tick."""
    title = html.escape(f"{study.site(site).name} {season}: what to do when")
    rows = "\n".join(_row(study, task) for task in tasks)
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{title}</title><style>
@page {{ margin: 15mm }} body {{ font: 11pt sans-serif }} table {{ border-collapse: collapse }}
th, td {{ border: 1px solid #444; padding: 4px 8px; text-align: left; vertical-align: top }}
thead {{ display: table-header-group }} tr {{ break-inside: avoid }} td:last-child {{ width: 6em }}
</style></head><body><h1>{title}</h1>
<table><thead><tr><th scope="col">Date</th><th scope="col">Task</th><th scope="col">Plots</th>
<th scope="col">Because</th><th scope="col">Done on</th></tr></thead><tbody>
{rows}
</tbody></table></body></html>
"""


def _row(study: Study, task: Task) -> str:
    names = ", ".join(study.treatment(name).label for name in task.treatments) or "all"
    date = f"{task.date:%a %d %b}" if task.date else "open"
    done = f"{task.date:%d %b}" if task.state == "done" and task.date else ""
    cells = (date, task.what, names, task.why, done)
    return "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in cells) + "</tr>"


def write_calendar(
    study: Study, season: int, site: str, tasks: Sequence[Task], folder: Path, today: dt.date
) -> tuple[Path, Path]:
    """Write calendar.ics and tasks.html into ``folder``; return both paths."""
    calendar, table = folder / "calendar.ics", folder / "tasks.html"
    calendar.write_bytes(calendar_of(study, season, site, tasks, today))
    table.write_text(task_table(study, season, site, tasks), encoding="utf-8")
    return calendar, table
