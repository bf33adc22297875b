"""What is to be done when: tasks from the protocol, the visits and the planting date.

A task hangs on an event. Until that event has been seen its expected day counts; once it has, the
real date does, and the task moves with it. A task whose event nobody expects has no date yet.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import pandas as pd

from trialkit.errors import Fault
from trialkit.planning.entry import entry_fault
from trialkit.study import ProtocolRule, Study

State = Literal["done", "due", "expected", "open"]
PLANTED: Final = "transplanted"


@dataclass(frozen=True, order=True)
class Task:
    """One thing to do; ``date`` is the day, or None while it hangs on an event without a date.

    ``state``: done (seen on ``date``); due (what it hangs on has happened); expected (on a planned
    or expected day); open (no date yet). ``why`` says what the date comes from; ``rule`` names the
    task, unique within a site-season.
    """

    date: dt.date | None
    what: str
    treatments: tuple[str, ...] = ()
    state: State = "expected"
    why: str = ""
    rule: str = ""


def tasks_of(
    study: Study,
    season: int,
    site: str,
    events: pd.DataFrame | None = None,
    plots: pd.DataFrame | None = None,
) -> tuple[Task, ...]:
    """Return the tasks of a site-season in order of date, those without a date last.

    ``events`` is the table of what happened so far (date, plot, event), ``plots`` the layout that
    tells which treatment a plot has. Where neither study.toml nor an event tells of the planting,
    what hangs on it has no date; see :func:`missing_planting`.
    """
    when = Dates(study, season, site, _seen(events, plots))
    listed = [
        when.planting(),
        *(when.rule(rule) for rule in study.protocol if rule.event),
        *when.visits("scouting", study.layout.scouting_days, "Scout all plots"),
        *when.visits("harvest", study.layout.picking_days, "Pick, grade and weigh all plots"),
    ]
    return tuple(sorted(listed, key=lambda task: (task.date or dt.date.max, task.what)))


def missing_planting(
    study: Study, season: int, site: str, tasks: Sequence[Task]
) -> Iterator[Fault]:
    """A site-season of which nobody said when it is planted: no visit of it has a date."""
    if any(task.rule == "planting" and task.date is None for task in tasks):
        what = f"{site} has no planting date in {season}, so its visits have no dates yet"
        remedy = "Add [[layout.plantings]] with season, site and date, and plan again"
        yield entry_fault(study, "layout.plantings", what, remedy, "no_planting", "question")


def visits_out_of_season(
    study: Study, season: int, site: str, tasks: Sequence[Task]
) -> Iterator[Fault]:
    """Visits of ``layout`` that fall outside the season; nobody is sent out for them."""
    kept = {task.rule for task in tasks}
    if "scouting" in kept or any(task.rule == "planting" and not task.date for task in tasks):
        return
    first, last = study.season(season).first_date, study.season(season).last_date
    for table, key in (("scouting", "scouting_days"), ("harvest", "picking_days")):
        days = getattr(study.layout, key)
        gone = [day for n, day in enumerate(days, 1) if f"{table}-{n}" not in kept]
        if gone:
            named = ", ".join(map(str, gone))
            what = f"at {site} the days {named} fall outside the season {first} to {last}"
            remedy = "Change these days or the season; they are left out"
            yield entry_fault(
                study, f"layout.{key}", what, remedy, "visit_out_of_season", "question"
            )


class Dates:
    """Dates of one site-season: seen, planned and expected."""

    def __init__(self, study: Study, season: int, site: str, seen: pd.DataFrame) -> None:
        self.study, self.season, self.site, self.seen = study, season, site, seen
        self.planted = self.seen_on(PLANTED) or study.layout.planting(season, site)

    def seen_on(self, event: str, treatments: tuple[str, ...] = ()) -> dt.date | None:
        """First day on which an event was seen (on plots of these treatments, if any are named)."""
        rows = self.seen[self.seen["event"] == event]
        if treatments:
            rows = rows[rows["treatment"].isin(treatments) | (rows["treatment"] == "")]
        return None if rows.empty else min(rows["date"])

    def expected(self, event: str) -> dt.date | None:
        """Day on which an event is planned or expected, None where nobody said."""
        if event == PLANTED:
            return self.planted
        day = self.study.layout.expected_days.get(event)
        if day is None or self.planted is None:
            return None
        return self.planted + dt.timedelta(days=day)

    def planting(self) -> Task:
        """Planting itself."""
        done = self.seen_on(PLANTED)
        if self.planted is None:
            return Task(None, "Plant", (), "open", "no date yet: study.toml names none", "planting")
        state: State = "done" if done else "expected"
        return Task(self.planted, "Plant", (), state, "seen" if done else "planned", "planting")

    def rule(self, rule: ProtocolRule) -> Task:
        """Task of a rule such as: covers off 0 days after first bloom."""
        event, after = str(rule.event), str(rule.after)
        done = self.seen_on(event, rule.treatments)
        if done:
            return Task(done, rule.what, rule.treatments, "done", "seen", rule.id)
        shift, name = dt.timedelta(days=rule.days), _words(after)
        seen, expected = self.seen_on(after, rule.treatments), self.expected(after)
        if seen:
            why = f"{name} seen on {seen}"
            return Task(seen + shift, rule.what, rule.treatments, "due", why, rule.id)
        if expected:
            why = f"{name} planned or expected on {expected}"
            return Task(expected + shift, rule.what, rule.treatments, "expected", why, rule.id)
        why = f"no date yet: waits for {name}"
        return Task(None, rule.what, rule.treatments, "open", why, rule.id)

    def visits(self, table: str, days: tuple[int, ...], what: str) -> Iterator[Task]:
        """Visits on their days after planting; pickings move with the first bloom."""
        if self.planted is None:
            yield Task(None, what, (), "open", "no date yet: waits for planting", table)
            return
        late = self._bloom_shift() if table == "harvest" else 0
        why = (
            f"day {{}} after planting, moved {late:+d} days with the bloom"
            if late
            else "day {} after planting"
        )
        for number, day in enumerate(days, start=1):
            date = self.planted + dt.timedelta(days=day + late)
            if self.study.in_season(self.season, date):
                said = f"{what} ({number} of {len(days)})"
                yield Task(date, said, (), "expected", why.format(day), f"{table}-{number}")

    def _bloom_shift(self) -> int:
        check = (self.study.check.id,)
        seen, expected = self.seen_on("first_bloom", check), self.expected("first_bloom")
        return (seen - expected).days if seen and expected else 0


def _seen(events: pd.DataFrame | None, plots: pd.DataFrame | None) -> pd.DataFrame:
    """What happened, with the treatment of the plot (empty: the whole site)."""
    if events is None or events.empty:
        return pd.DataFrame({"date": [], "event": [], "treatment": []})
    dates, plot = pd.to_datetime(events["date"]).dt.date, events["plot"].fillna("").astype(str)
    of = (
        {}
        if plots is None
        else dict(zip(plots["plot"].astype(str), plots["treatment"], strict=True))
    )
    treatment = plot.map(lambda name: of.get(name, ""))
    return pd.DataFrame({"date": dates, "event": events["event"], "treatment": treatment})


def _words(event: str) -> str:
    return event.replace("_", " ")
