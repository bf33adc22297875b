"""Rules between cells, rows and tables that no single column can tell."""

import datetime as dt
import difflib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import pandas as pd

from trialkit.intake.cells import Typed
from trialkit.intake.dates import swapped
from trialkit.intake.problems import Problem, rows_where
from trialkit.study import Season, Study

GRADES: Final = ("marketable", "cull")
# Columns that tell observations apart; two rows alike in all of them contradict each other.
KEYS: Final = {
    "plots": ("plot",),
    "scouting": ("date", "plot", "plant", "organism", "stage"),
    "ratings": ("date", "plot", "what", "observer"),
    "harvest": ("date", "plot", "grade", "cull_cause"),
    "events": ("date", "plot", "event"),
    "weather": ("date",),
    "costs": ("treatment", "item"),
}
# Several crates of one picking, or two lots of one input, may well be typed apart.
_MAY_REPEAT: Final = ("harvest", "costs")


@dataclass(frozen=True)
class Layout:
    """The plots as typed: what other tables are held against.

    ``treatment`` leads from every plot to its treatment, ``blocked`` names plots that an error in
    the layout keeps out, ``lost`` leads from lost plots to the reason.
    """

    treatment: dict[str, str]
    blocked: frozenset[str]
    lost: dict[str, str]


@dataclass(frozen=True)
class Context:
    """What a check may ask: the study, the season, and the layout where it can be used."""

    study: Study
    season: Season | None
    layout: Layout | None


Check = Callable[[Typed, Context], Iterator[Problem]]


def cross_problems(typed: Typed, context: Context) -> list[Problem]:
    """Every problem between cells, rows and tables of one sheet."""
    checks: Iterable[Check] = (*_CHECKS[typed.sheet.table], repeated_rows)
    return [problem for check in checks for problem in check(typed, context)]


def unknown_plots(typed: Typed, context: Context) -> Iterator[Problem]:
    """Plots that the layout does not have, and plots that an error keeps out of it."""
    if context.layout is None:
        return
    plots, known = typed.frame["plot"], context.layout.treatment
    unknown = plots.notna() & ~plots.isin(list(known))
    if unknown.any():
        yield Problem(
            "unknown_plot",
            "there is no plot '{value}' in the layout",
            [_suggestion(plot, list(known), "Add it to plots") for plot in plots[unknown]],
            rows_where(unknown),
            "plot",
        )
    kept_out = plots.isin(list(context.layout.blocked))
    if kept_out.any():
        yield Problem(
            "plot_blocked",
            "plot '{value}' has an error in the layout",
            "Mend its row in plots first",
            rows_where(kept_out),
            "plot",
            "note",
            leaves_out=True,
        )


def _suggestion(text: str, known: list[str], otherwise: str) -> str:
    near = difflib.get_close_matches(text, known, 1, 0.6)
    same = [name for name in known if name.casefold() == text.casefold()]
    found = (same or near)[:1]
    listed = ", ".join(known[:12]) + (", ..." if len(known) > 12 else "")
    return f"Did you mean '{found[0]}'?" if found else f"{otherwise}; known are {listed}"


def treatments_of_layout(typed: Typed, context: Context) -> Iterator[Problem]:
    """A treatment typed beside a plot must be the one that the layout gives to that plot."""
    if "treatment" not in typed.sheet.cells:
        return
    yield from _undeclared(typed, "treatment", context.study.treatment_ids, "treatment")
    if context.layout is None:
        return
    given, planned = typed.frame["treatment"], typed.frame["plot"].map(context.layout.treatment)
    declared = given.isin(context.study.treatment_ids)
    differs = declared & planned.notna() & (given != planned)
    if differs.any():
        yield Problem(
            "treatment_contradicts_layout",
            [
                f"plot {p} is '{t}' in the layout, not '{g}'"
                for p, t, g in zip(
                    typed.frame["plot"][differs], planned[differs], given[differs], strict=True
                )
            ],
            "Look which of plot and treatment is right, here and in plots",
            rows_where(differs),
            "treatment",
        )


def _undeclared(typed: Typed, column: str, known: Iterable[str], noun: str) -> Iterator[Problem]:
    texts, listed = typed.frame[column], list(known)
    unknown = texts.notna() & ~texts.isin(listed)
    if unknown.any():
        yield Problem(
            f"unknown_{noun.replace(' ', '_')}",
            f"study.toml declares no {noun} '{{value}}'",
            [_suggestion(text, listed, "Declare it in study.toml") for text in texts[unknown]],
            rows_where(unknown),
            column,
        )


def declared_organisms(typed: Typed, context: Context) -> Iterator[Problem]:
    """Organisms and stages are declared; where an organism has stages, each row names one."""
    organisms = {organism.id: organism for organism in context.study.organisms}
    yield from _undeclared(typed, "organism", organisms, "organism")
    frame, told = typed.frame, _told(typed, "stage")
    for name, organism in organisms.items():
        here = frame["organism"] == name
        stage = frame["stage"]
        strange = here & stage.notna() & ~stage.isin(organism.stages)
        if strange.any():
            listed = list(organism.stages)
            yield Problem(
                "unknown_stage",
                f"study.toml declares no stage '{{value}}' of {name}",
                [
                    _suggestion(text, listed, "Declare it in study.toml")
                    if listed
                    else "Empty the cell, or declare stages in study.toml"
                    for text in stage[strange]
                ],
                rows_where(strange),
                "stage",
            )
        empty = here & stage.isna() & ~frame.index.isin(told)
        if organism.stages and empty.any():
            yield Problem(
                "stage_missing",
                f"{name} is counted by stage, and no stage is given",
                f"Type one of {', '.join(organism.stages)}",
                rows_where(empty),
                "stage",
            )


def _told(typed: Typed, column: str) -> list[int]:
    return [row for p in typed.problems if p.column == column and p.blocks for row in p.rows]


def grades_and_causes(typed: Typed, context: Context) -> Iterator[Problem]:
    """A cull has a declared cause, a marketable fruit has none."""
    frame = typed.frame
    yield from _undeclared_grade(frame)
    yield from _undeclared(
        typed, "cull_cause", [cause.id for cause in context.study.cull_causes], "cull cause"
    )
    cause, told = frame["cull_cause"], _told(typed, "cull_cause")
    nothing = (frame["fruit"] == 0) & ~(frame["weight"] > 0)
    bare = (frame["grade"] == "cull") & cause.isna() & ~nothing & ~frame.index.isin(told)
    if bare.any() and context.study.cull_causes:
        yield Problem(
            "cull_without_cause",
            "culls are given without a cause",
            "Type one of " + ", ".join(item.id for item in context.study.cull_causes),
            rows_where(bare),
            "cull_cause",
        )
    both = (frame["grade"] == "marketable") & cause.notna()
    if both.any():
        yield Problem(
            "marketable_with_cause",
            "marketable fruit has the cull cause '{value}'",
            "Make it a cull, or empty the cause",
            rows_where(both),
            "cull_cause",
        )


def _undeclared_grade(frame: pd.DataFrame) -> Iterator[Problem]:
    unknown = frame["grade"].notna() & ~frame["grade"].isin(GRADES)
    if unknown.any():
        yield Problem(
            "unknown_grade",
            "'{value}' is neither marketable nor cull",
            "Type marketable or cull",
            rows_where(unknown),
            "grade",
        )


def fruit_and_weight(typed: Typed, context: Context) -> Iterator[Problem]:
    """Fruit have a weight, and a weight belongs to fruit."""
    fruit, weight = typed.frame["fruit"], typed.frame["weight"]
    readable = ~typed.frame.index.isin([*_told(typed, "fruit"), *_told(typed, "weight")])
    pairs = (
        ("weight_without_fruit", "weight", "fruit", (weight > 0) & ~(fruit > 0) & ~(fruit < 0)),
        ("fruit_without_weight", "fruit", "weight", (fruit > 0) & ~(weight > 0) & ~(weight < 0)),
    )
    for code, has, lacks, mask in pairs:
        if (mask & readable).any():
            yield Problem(
                code,
                f"there is a {has} but no {lacks}"
                if has == "weight"
                else "there is fruit but no weight",
                f"Type the {lacks}, or 0 in both if nothing was picked",
                rows_where(mask & readable),
                lacks,
            )
    nothing = fruit.isna() & weight.isna() & readable
    yield from _nothing_measured(nothing, "fruit", "neither fruit nor weight was typed")


def _nothing_measured(mask: "pd.Series[bool]", column: str, what: str) -> Iterator[Problem]:
    if mask.any():
        remedy = "Type what the field sheet says (0 for none), or delete the row"
        yield Problem("value_missing", what, remedy, rows_where(mask), column, "note", True)


def sizes_given(typed: Typed, context: Context) -> Iterator[Problem]:
    """A measured fruit has a length or a diameter."""
    readable = ~typed.frame.index.isin([*_told(typed, "length"), *_told(typed, "diameter")])
    nothing = typed.frame["length"].isna() & typed.frame["diameter"].isna() & readable
    yield from _nothing_measured(nothing, "length", "neither length nor diameter was typed")


def scores_in_scale(typed: Typed, context: Context) -> Iterator[Problem]:
    """Ratings are declared, and scores lie within their scale."""
    ratings = {rating.id: rating for rating in context.study.ratings}
    yield from _undeclared(typed, "what", ratings, "rating")
    for name, rating in ratings.items():
        top = 100.0 if rating.scale == "percent" else 10.0
        score = typed.frame["score"]
        outside = (typed.frame["what"] == name) & ((score < 0) | (score > top))
        if outside.any():
            yield Problem(
                "out_of_scale",
                f"'{{value}}' is outside the scale of {name}, 0 to {top:.0f}",
                "Look at the field sheet, or at the scale in study.toml",
                rows_where(outside),
                "score",
            )


def declared_events(typed: Typed, context: Context) -> Iterator[Problem]:
    """Events are declared in study.toml."""
    yield from _undeclared(typed, "event", context.study.events, "event")


def temperatures_in_order(typed: Typed, context: Context) -> Iterator[Problem]:
    """The lowest temperature of a day is not above the highest."""
    crossed = typed.frame["tmin"] > typed.frame["tmax"]
    if crossed.any():
        yield Problem(
            "tmin_above_tmax",
            "the lowest temperature is above the highest",
            "Look whether the two were changed over",
            rows_where(crossed),
            "tmin",
        )


def dates_in_season(typed: Typed, context: Context) -> Iterator[Problem]:
    """Dates lie within the season; a swap of day and month that would mend it is named."""
    season = context.season
    if season is None:
        return
    dates = typed.frame["date"]
    first, last = pd.Timestamp(season.first_date), pd.Timestamp(season.last_date)
    outside = (dates < first) | (dates > last)
    if not outside.any():
        return
    mended = {day: _swap_into(day.date(), season) for day in dates[outside].unique()}
    could_swap = outside & dates.map(lambda day: mended.get(day) is not None)
    if could_swap.any():
        yield Problem(
            "swapped_date",
            "'{value}' is out of season; day and month look changed over",
            [f"Type {mended[day]} if that is meant" for day in dates[could_swap]],
            rows_where(could_swap),
            "date",
        )
    if (outside & ~could_swap).any():
        yield Problem(
            "out_of_season",
            f"'{{value}}' is outside the season {season.first_date} to {season.last_date}",
            "Mend the date, or widen the season in study.toml",
            rows_where(outside & ~could_swap),
            "date",
        )


def _swap_into(date: dt.date, season: Season) -> dt.date | None:
    other = swapped(date)
    inside = other is not None and season.first_date <= other <= season.last_date
    return other if inside else None


def lonely_dates(typed: Typed, context: Context) -> Iterator[Problem]:
    """A few rows of a date whose swap is the date of many others are asked about."""
    season, counts = context.season, typed.frame["date"].value_counts()
    days = {pd.Timestamp(str(day)).date(): int(rows) for day, rows in counts.items()}
    suspects = {}
    for day, rows in days.items():
        other = swapped(day)
        inside = season is None or season.first_date <= day <= season.last_date
        if inside and other and days.get(other, 0) >= 3 * rows:
            suspects[pd.Timestamp(day)] = (other, days[other])
    mask = typed.frame["date"].isin(list(suspects))
    if mask.any():
        found = [suspects[day] for day in typed.frame["date"][mask]]
        yield Problem(
            "swapped_date",
            [f"'{{value}}' stands nearly alone, and {n} rows have {day}" for day, n in found],
            [f"Look whether day and month were changed over: {day}" for day, _ in found],
            rows_where(mask),
            "date",
            "question",
        )


def weather_in_year(typed: Typed, context: Context) -> Iterator[Problem]:
    """Weather may reach beyond the season, but not beyond its year."""
    season, dates = context.season, typed.frame["date"]
    if season is None:
        return
    years = (season.first_date.year, season.last_date.year)
    outside = dates.notna() & ~dates.dt.year.between(*years)
    if outside.any():
        yield Problem(
            "out_of_season",
            f"'{{value}}' is not in the year of the season {season.year}",
            "Mend the date, or put the row into its own season",
            rows_where(outside),
            "date",
        )


def declared_treatments(typed: Typed, context: Context) -> Iterator[Problem]:
    """Treatments are declared in study.toml."""
    yield from _undeclared(typed, "treatment", context.study.treatment_ids, "treatment")


def repeated_rows(typed: Typed, context: Context) -> Iterator[Problem]:
    """Rows typed twice, and rows that tell two things of the same observation."""
    key = [name for name in KEYS.get(typed.sheet.table, ()) if name in typed.frame]
    readable = typed.frame.drop(
        index=[row for name in key for row in _told(typed, name)], errors="ignore"
    )
    if not key or not readable.duplicated(key).any():
        return
    alike = readable.duplicated()
    again = readable.duplicated(key, keep=False) & ~alike
    differing = again & readable[again].duplicated(key, keep=False).reindex(
        again.index, fill_value=False
    )
    if alike.any():
        first = readable[~alike].drop_duplicates(key)
        yield Problem(
            "duplicate_row",
            _twice(readable, alike, key),
            "Delete one of the two, or mend it if it tells of something else",
            rows_where(alike),
            key[0] if len(first) else "",
        )
    if differing.any():
        yield _differing(typed.sheet.table, readable, differing, key)


def _twice(frame: pd.DataFrame, mask: "pd.Series[bool]", key: list[str]) -> list[str]:
    firsts = (
        pd.Series(frame.index, index=frame.index)
        .groupby([frame[name] for name in key], dropna=False)
        .transform("first")
    )
    return [f"the row says the same as row {row}" for row in firsts[mask]]


def _differing(table: str, frame: pd.DataFrame, mask: "pd.Series[bool]", key: list[str]) -> Problem:
    alike = ", ".join(key)
    if table == "plots":
        return Problem(
            "duplicate_plot",
            "plot '{value}' is listed more than once",
            "Give each plot one row",
            rows_where(mask),
            "plot",
        )
    if table in _MAY_REPEAT:
        return Problem(
            "repeated_key",
            f"another row has the same {alike}; both were read and add up",
            "Look whether one of them corrects the other",
            rows_where(mask),
            key[0],
            "question",
        )
    return Problem(
        "conflicting_rows",
        f"another row has the same {alike} but says something else",
        "Look at the field sheet and keep the right one",
        rows_where(mask),
        key[0],
    )


_IN_PLOT: Final = (unknown_plots, treatments_of_layout, dates_in_season, lonely_dates)
_CHECKS: Final[dict[str, tuple[Check, ...]]] = {
    "plots": (declared_treatments,),
    "scouting": (*_IN_PLOT, declared_organisms),
    "ratings": (*_IN_PLOT, scores_in_scale),
    "harvest": (*_IN_PLOT, grades_and_causes, fruit_and_weight),
    "fruit_sizes": (*_IN_PLOT, sizes_given),
    "events": (unknown_plots, dates_in_season, lonely_dates, declared_events),
    "weather": (weather_in_year, temperatures_in_order),
    "costs": (declared_treatments,),
}
