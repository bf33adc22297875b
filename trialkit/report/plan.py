"""The plan of a study, as the notebook's cells and the command line call it."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from trialkit import __version__, planning
from trialkit.errors import StudyError
from trialkit.figures.picture import Picture
from trialkit.narrative.tables import Column, Table, Words
from trialkit.planning.entry import entry_fault
from trialkit.planning.how_much import layout_cautions, percent
from trialkit.planning.plot_map_sheet import below_each_other, draw_map, png_of
from trialkit.report.display import Stack, bullets
from trialkit.report.place import open_study
from trialkit.report.plan_known import known_so_far
from trialkit.study import Study

_HEADS: Final = {
    "plants_90": "Plants, nine of ten times",
    "mean": "Mean per plant",
    "precision": "Standard error over mean",
    "bias": "Bias over mean",
}


@dataclass(frozen=True)
class PlanReport:
    """Everything that a plan shows; ``today`` is the day it was made on."""

    study: Study
    plan: planning.Plan
    today: dt.date

    def heading(self) -> Words:
        """Title, and which site-seasons are planned."""
        names = [f"{self.study.site(p.site).name} {p.season}" for p in self.plan.places]
        listed = ", ".join(names) or "no site-season: all seasons are finished"
        return Words(f"# Plan of: {self.study.title}\n\nMade on {self.today} for {listed}.")

    def place_map(self, season: int, site: str = "") -> Picture | Words:
        """The plot map of one site-season; without a site, those of all that are planned."""
        places = self._places(season, site)
        if not places:
            return Words(f"{site} {season} is not among the site-seasons that are planned.")
        maps = [draw_map(self.study, p.season, p.site, p.plots) for p in places]
        alt = " ".join(map(self._said_of_map, places))
        plots = pd.concat([p.ground.plots for p in places], ignore_index=True)
        width = max(figure.get_size_inches()[0] for figure in maps)
        height = sum(figure.get_size_inches()[1] for figure in maps)
        return Picture(below_each_other([*map(png_of, maps)]), alt, alt, plots, width, height)

    def tasks(self, season: int, site: str = "") -> Stack:
        """What is to be done when, a table a site."""
        return Stack(tuple(map(self._tasks_of, self._places(season, site))))

    def enough(self) -> Stack:
        """The cheapest layout that settles each question, and the sizes it was chosen from."""
        answers = bullets([one.sentence(self.study.currency) for one in self.plan.enough])
        sources = bullets(
            [f"{one.measure.name}: {one.assumption.source}" for one in self.plan.enough]
        )
        said = Words(f"{answers}\n\nSpread taken from:\n\n{sources}")
        return Stack((said, *(self._sizes(one) for one in self.plan.enough)))

    def outlook(self) -> Table:
        """Which contrasts are settled, and how many more site-seasons the others need."""
        rows = [
            (
                row["measure"],
                row["treatment"],
                row["site_seasons"],
                "settled" if row["settled_now"] else _more(row["more"]),
                percent(row["chance"]),
            )
            for row in self.plan.outlook.to_dict("records")
        ]
        numbers = [Column("Site-seasons so far", True), Column("More needed", True)]
        heads = [Column("Measure"), Column("Treatment"), *numbers, Column("Chance", True)]
        empty = "There are not yet two site-seasons to judge by."
        title = "More site-seasons until a contrast is settled with 80 % chance"
        return Table(title, tuple(heads), Table.of(title, heads, rows).rows, empty)

    def sampling(self) -> Stack | Words:
        """How many plants to look at, and when to stop or to act."""
        found = self.plan.sampling
        if found is None:
            return Words("There are too few counts yet to say how many plants to look at.")
        law = found.law
        said = (
            f"Variance between plants = {law.a:.2f} x mean^{law.b:.2f} (standard error of the "
            f"power {law.se_b:.2f}, {law.groups} groups of plants; Taylor 1961)."
        )
        tables = [_whole("Plants for a standard error of a quarter of the mean", found.plants)]
        if found.stop is not None:
            tables += [_whole("Stop when the total reaches this (Green 1970)", found.stop)]
        if found.stop_does is not None:
            tables += [_whole("What that stop line does at each true mean", found.stop_does)]
        if found.decide is not None and found.errors is not None:
            tables += [_whole("Act, do not act, or look at more plants", found.decide)]
            tables += [_whole("What that rule does at each true mean", found.errors)]
        return Stack((Words(said), *tables))

    def write(self, output: str = "") -> Words:
        """With ``output``, write layouts, maps, sheets and calendars; say how many files."""
        if not output:
            return Words(
                "`trialkit plan` writes them into a folder for every season and site. Typed sheets "
                "go into the site's data folder, side by side."
            )
        return Words(f"{len(self.write_files(Path(output)))} files were written.")

    def write_files(self, folder: Path) -> tuple[Path, ...]:
        """Write everything into a folder, layouts drawn now into the study; return the paths."""
        stamp = planning.Stamp(self.today, __version__)
        return planning.write_plan(self.study, self.plan, folder, stamp)

    def answers(self) -> list[str]:
        """What a terminal shows: places planned, and how much is enough."""
        drawn = [f"{p.site} {p.season}" for p in self.plan.places if p.drawn is not None]
        kept = [f"{p.site} {p.season}" for p in self.plan.places if p.drawn is None]
        told = [f"Randomised: {', '.join(drawn)}."] if drawn else []
        told += [f"Plots kept as they stand: {', '.join(kept)}."] if kept else []
        told += [f"The layout as it is: {text}" for text in layout_cautions(self.study)]
        for one in self.plan.enough:
            told.append(f"{one.sentence(self.study.currency)} (Spread: {one.assumption.source}.)")
        return [*told, *map(_still_open, self.plan.outlook.to_dict("records"))]

    def _places(self, season: int, site: str) -> list[planning.PlacePlan]:
        """The places planned, of one season and site where they are named."""
        return [
            one for one in self.plan.places if season in (0, one.season) and site in ("", one.site)
        ]

    def _said_of_map(self, place: planning.PlacePlan) -> str:
        blocks, name = place.plots["block"].nunique(), self.study.site(place.site).name
        plots = f"{len(place.plots)} plots in {blocks} block{'' if blocks == 1 else 's'}"
        return f"Map of {name} {place.season}: {plots}, to scale."

    def _tasks_of(self, place: planning.PlacePlan) -> Table:
        rows = [
            (task.date or "open", task.what, self._treatments(task.treatments), task.why)
            for task in place.tasks
        ]
        heads = [Column("Date"), Column("Task"), Column("Plots"), Column("Because")]
        return Table.of(f"Tasks at {self.study.site(place.site).name}, {place.season}", heads, rows)

    def _treatments(self, names: tuple[str, ...]) -> str:
        return ", ".join(self.study.treatment(name).label for name in names) or "all"

    def _sizes(self, one: planning.Enough) -> Table:
        rows = [
            (
                row["blocks"],
                row["sites"],
                row["seasons"],
                f"{row['cost']:,.0f}",
                row["residual_df"],
                percent(row["power"]),
            )
            for row in _around(one).to_dict("records")
        ]
        names = ("Blocks", "Sites", "Seasons", f"Cost ({self.study.currency})")
        heads = [Column(n, True) for n in (*names, "Residual df", "Power")]
        return Table.of(f"{one.measure.name}: sizes of trial, cheapest first", heads, rows)


def open_plan(
    study: str | Path, *, today: str | dt.date, season: int | None = None, seed: int | None = None
) -> PlanReport:
    """Plan a study from study.toml and what has been typed so far; nothing is written.

    ``season`` limits the plan to one season (default: every unfinished one); ``seed`` asks for
    another draw of layouts that have no data yet. Raises StudyError with all that is in the way.
    """
    described = open_study(study)
    day = today if isinstance(today, dt.date) else dt.date.fromisoformat(today)
    places = [p for p in described.site_seasons() if p[0] == season]
    if season and not places:
        years = ", ".join(str(one.year) for one in described.seasons)
        what, remedy = f"there is no season {season}", f"Add it, or take one of {years}"
        raise StudyError((entry_fault(described, "seasons", what, remedy, "no_season"),))
    known = known_so_far(described)
    made = planning.make_plan(described, known, places=places if season else None, seed=seed)
    return PlanReport(described, made, day)


def _around(one: planning.Enough) -> pd.DataFrame:
    """The sizes up to the cheapest that is enough, the last eight of them."""
    table, best = one.table, one.cheapest
    last = len(table) - 1 if best is None else int(str(best.name))
    return table.iloc[max(0, last - 7) : last + 1]


def _still_open(row: Mapping[Any, Any]) -> str:
    """One contrast so far, and what would settle it."""
    name = f"{row['measure']}, {row['treatment']} against the check"
    if row["settled_now"]:
        return f"{name}: settled by {row['site_seasons']} site-seasons."
    more = _more(row["more"])
    return f"{name}: {more} more site-seasons would settle it; chance {percent(row['chance'])}."


def _more(number: Any) -> str:
    return "more than 40" if number is None or pd.isna(number) else str(number)


def _whole(title: str, frame: pd.DataFrame) -> Table:
    """A frame of numbers as a table to carry: whole numbers, and two decimals for shares."""
    heads = [Column(_HEADS.get(n, n.replace("_", " ").capitalize()), True) for n in frame.columns]
    rows = [[_number(value) for value in row] for row in frame.itertuples(index=False)]
    return Table.of(title, heads, rows)


def _number(value: Any) -> str:
    if value is None or pd.isna(value):
        return ""
    number = float(str(value))
    if number.is_integer():
        return f"{number:.0f}"
    return f"{number:.2f}" if abs(number) < 1 else f"{number:.1f}"
