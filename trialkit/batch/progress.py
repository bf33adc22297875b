"""Progress to watch: one bar on a terminal, plain lines in a log."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from trialkit.batch.targets import Target
from trialkit.batch.work import Outcome


class Watcher(Protocol):
    """Somebody who is told how a render goes."""

    def due(self, reports: int) -> None:
        """So many more reports are to be rendered."""

    def begun(self, target: Target) -> None:
        """Work on a report has begun."""

    def ended(self, outcome: Outcome) -> None:
        """A report is done, or has failed."""


class Silent:
    """Watches and says nothing."""

    def due(self, reports: int) -> None:
        """Say nothing."""

    def begun(self, target: Target) -> None:
        """Say nothing."""

    def ended(self, outcome: Outcome) -> None:
        """Say nothing."""


class Lines:
    """One plain line for each report, for logs."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._total = self._done = 0

    def due(self, reports: int) -> None:
        """Count the reports to come."""
        self._total += reports

    def begun(self, target: Target) -> None:
        """Say nothing: a log has one line for each report."""

    def ended(self, outcome: Outcome) -> None:
        """Tell of a report that is done."""
        self._done += 1
        state = "FAILED" if outcome.failed else "done"
        place = f"[{self._done}/{self._total}] {outcome.target.title}"
        line = f"{place}: {state} in {outcome.seconds:.1f} s"
        self._console.print(line, markup=False, highlight=False, soft_wrap=True)


class Bar:
    """One bar with done, due, failed, time left and the reports being worked on."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self._task = progress.add_task("", total=0, failed="", names="")
        self._names: list[str] = []
        self._failed = 0

    def due(self, reports: int) -> None:
        """Make the bar longer by the reports to come."""
        total = self._progress.tasks[0].total or 0
        self._progress.update(self._task, total=total + reports)

    def begun(self, target: Target) -> None:
        """Show the name of the report."""
        self._names.append(target.title)
        self._show()

    def ended(self, outcome: Outcome) -> None:
        """Move the bar by one report."""
        if outcome.target.title in self._names:
            self._names.remove(outcome.target.title)
        self._failed += outcome.failed
        self._progress.advance(self._task)
        self._show()

    def _show(self) -> None:
        failed = f"{self._failed} failed" if self._failed else ""
        self._progress.update(self._task, names=", ".join(self._names), failed=failed)


@contextmanager
def watching(console: Console) -> Iterator[Watcher]:
    """Show progress on ``console``: a bar where it is a terminal, plain lines elsewhere."""
    if not console.is_terminal:
        yield Lines(console)
        return
    columns = (
        BarColumn(bar_width=24),
        MofNCompleteColumn(),
        TextColumn("[red]{task.fields[failed]}"),
        TimeRemainingColumn(compact=True),
        TextColumn("{task.fields[names]}", markup=False),
    )
    with Progress(*columns, console=console, transient=True) as progress:
        yield Bar(progress)
