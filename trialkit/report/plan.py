"""The plan of a study, as the notebook's cells and the command line call it."""

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd
from scipy import stats

from trialkit import __version__, intake, measures, planning
from trialkit.columns import EFFECTS
from trialkit.figures.picture import Picture
from trialkit.findings import AcrossFindings, Environment, across_findings
from trialkit.findings.spread import variance_between
from trialkit.intake import SiteSeason
from trialkit.narrative.tables import Column, Table, Words
from trialkit.planning.how_much import percent
from trialkit.planning.plot_map_sheet import draw_map, png_of
from trialkit.report.display import Stack, bullets
from trialkit.report.place import open_study
from trialkit.study import Assumption, Measure, Study
from trialkit.study.units import to_display

# Only the pooled answer is asked for, so the single site-seasons are not analysed.
_NOT_WANTED: Final = pd.DataFrame(columns=EFFECTS)
_HEADS: Final = {"plants_90": "Plants, nine of ten times", "mean": "Mean per plant"}


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

    def place_map(self, season: int, site: str) -> Picture | Words:
        """The plot map of one site-season."""
        places = [(p.season, p.site) for p in self.plan.places]
        if (season, site) not in places:
            return Words(f"{site} {season} is not among the site-seasons that are planned.")
        place = self.plan.place(season, site)
        figure = draw_map(self.study, season, site, place.plots)
        width, height = figure.get_size_inches()
        blocks = place.plots["block"].nunique()
        name = self.study.site(site).name
        alt = f"Map of {name} {season}: {len(place.plots)} plots in {blocks} block(s), to scale."
        return Picture(png_of(figure), alt, alt, place.ground.plots, width, height)

    def tasks(self, season: int, site: str) -> Table:
        """What is to be done when at one site."""
        found = [p for p in self.plan.places if (p.season, p.site) == (season, site)]
        rows = [
            (task.date or "open", task.what, self._treatments(task.treatments), task.why)
            for place in found
            for task in place.tasks
        ]
        heads = [Column("Date"), Column("Task"), Column("Plots"), Column("Because")]
        return Table.of(f"Tasks at {self.study.site(site).name}, {season}", heads, rows)

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
        if found.decide is not None and found.errors is not None:
            tables += [_whole("Act, do not act, or look at more plants", found.decide)]
            tables += [_whole("What that rule does at each true mean", found.errors)]
        return Stack((Words(said), *tables))

    def write(self, output: str = "") -> Words:
        """With ``output``, write layouts, maps, sheets and calendars; say how many files."""
        if not output:
            return Words("No folder was named, so nothing was written.")
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
        return [*told, *(one.sentence(self.study.currency) for one in self.plan.enough)]

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
    known = known_so_far(described)
    made = planning.make_plan(described, known, places=places if season else None, seed=seed)
    return PlanReport(described, made, day)


def known_so_far(study: Study) -> planning.Known:
    """Gather plots, events, counts, contrasts and spread from the data typed so far."""
    read = {
        place: intake.read_site_season(study, *place)
        for place in study.site_seasons()
        if study.data_folder(*place).is_dir()
    }
    usable = {place: data for place, data in read.items() if data.usable}
    seen = {place: _seen(study, data) for place, data in usable.items()}
    across = _across(study, usable)
    if across is None:
        return planning.Known(seen=seen)
    return planning.Known(seen, _contrasts(study, across), _spread(study, across))


def _seen(study: Study, data: SiteSeason) -> planning.Seen:
    plots = data.tables["plots"].reset_index(drop=True)
    plots = plots.assign(area=to_display(plots["area"], "area", study.units).round(4))
    return planning.Seen(plots, data.tables["events"], data.tables["scouting"])


def _across(study: Study, usable: Mapping[tuple[int, str], SiteSeason]) -> AcrossFindings | None:
    finished = {p: data for p, data in usable.items() if study.season(p[0]).finished}
    if len(finished) < 2:
        return None
    environments = []
    for (season, site), data in finished.items():
        values = measures.plot_values(study, season, site, data.tables, data.left_out)
        environments.append(Environment(season, site, values, _NOT_WANTED))
    return across_findings(study, environments)


def _contrasts(study: Study, across: AcrossFindings) -> list[planning.SoFar]:
    found = []
    for row in across.pooled.effects.to_dict("records"):
        measure = study.measure(str(row["measure"]))
        places = _environments(across, measure)
        if measure.primary and places > 1 and row["se"] > 0 and math.isfinite(row["estimate"]):
            margin = _model_margin(across, measure, row["margin"], row["effect_unit"])
            ends = (str(row["treatment"]), row["estimate"], row["se"], places, margin)
            found.append(planning.SoFar(measure.id, *ends, _widening(study, row)))
    return found


def _widening(study: Study, row: Mapping[Any, Any]) -> float:
    """How much wider the reported interval is than a plain t interval."""
    plain = stats.t.ppf(0.5 + study.level / 2, row["df"])
    ends = [abs(row[end] - row["estimate"]) / row["se"] for end in ("low", "high")]
    known = [end for end in ends if math.isfinite(end)]
    return max(known) / float(plain) if known else 1.0


def _environments(across: AcrossFindings, measure: Measure) -> int:
    return int(across.pooled.analyses[measure.id].design.frame["environment"].nunique())


def _check_mean(across: AcrossFindings, measure: Measure) -> float:
    return float(across.pooled.analyses[measure.id].means["mean"].iloc[0])


def _model_margin(across: AcrossFindings, measure: Measure, margin: float, unit: str) -> float:
    """Margin on the scale of the model: logarithm, log odds, or the measure's own unit."""
    if measure.family in ("count", "lognormal"):
        return math.log1p(margin / 100)
    if unit == "points":
        check = _check_mean(across, measure)
        moved = min(check + margin / 100, 1 - 1e-9)
        return math.log(moved / (1 - moved)) - math.log(check / (1 - check))
    if unit == "percent":
        return abs(_check_mean(across, measure)) * margin / 100
    return margin


def _spread(study: Study, across: AcrossFindings) -> dict[str, Assumption]:
    """Spread of every primary continuous or counted measure, in percent of the check's mean."""
    found = {}
    for name, analysis in across.pooled.analyses.items():
        measure, parts = study.measure(name), analysis.model.components
        between = variance_between(analysis)
        source = f"this study's own {_environments(across, measure)} finished site-seasons"
        if measure.family == "normal" and parts.get("residual", 0) > 0:
            scale = 100 / abs(_check_mean(across, measure))
            found[name] = Assumption(
                measure=name,
                plot_sd=scale * math.sqrt(parts["residual"]),
                environment_sd=scale * math.sqrt(between),
                source=source,
            )
        elif measure.family in ("count", "proportion"):
            found[name] = Assumption(
                measure=name,
                environment_sd=100 * math.sqrt(between),
                source=f"between site-seasons {source}; within, value from memory, no source",
            )
    return found


def _around(one: planning.Enough) -> pd.DataFrame:
    """The sizes up to the cheapest that is enough, the last eight of them."""
    table, best = one.table, one.cheapest
    last = len(table) - 1 if best is None else int(str(best.name))
    return table.iloc[max(0, last - 7) : last + 1]


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
