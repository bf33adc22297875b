"""Rules between cells, rows and tables that no single column can tell."""

import difflib
from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.cells import Typed
from trialkit.intake.context import Check, Context, rows_told
from trialkit.intake.date_checks import dates_in_season, lonely_dates, weather_in_year
from trialkit.intake.problems import Problem, rows_where
from trialkit.intake.repeats import repeated_rows

GRADES: Final = ("marketable", "cull")


def cross_problems(typed: Typed, context: Context) -> list[Problem]:
    """Every problem between cells, rows and tables of one sheet."""
    checks: Iterable[Check] = (*_CHECKS[typed.sheet.table], repeated_rows)
    return [problem for check in checks for problem in check(typed, context)]


def unknown_plots(typed: Typed, context: Context) -> Iterator[Problem]:
    """Plots that the layout does not have, and plots that an error keeps out of it."""
    if context.layout is None:
        return
    plots, known = typed.frame["plot"], context.layout.treatment
    if not typed.words("plot") <= set(known):
        unknown = plots.notna() & ~plots.isin(list(known))
        yield Problem(
            "unknown_plot",
            "there is no plot '{value}' in the layout",
            [_same_label(plot, list(known)) for plot in plots[unknown]],
            rows_where(unknown),
            "plot",
        )
    blocked = context.layout.blocked
    for plot in sorted(blocked & set(plots.unique())) if blocked else ():
        yield Problem(
            "plot_blocked",
            "plot '{value}' has an error in the layout",
            "Mend its row in plots first",
            rows_where(plots == plot),
            "plot",
            "note",
            leaves_out=True,
            once=True,
        )


def _same_label(text: str, known: list[str]) -> str:
    """Name the plot whose label looks the same; labels that only resemble it are other plots."""
    bare = {_bare_label(label): label for label in known}
    found = bare.get(_bare_label(text))
    return f"Did you mean '{found}'?" if found else f"Add it to plots; known are {_listed(known)}"


def _bare_label(text: str) -> str:
    alike = text.removesuffix(".0").casefold().translate(str.maketrans("oil", "011"))
    return "".join(sign for sign in alike if sign.isalnum()).lstrip("0")


def _listed(known: list[str]) -> str:
    return ", ".join(known[:12]) + (", ..." if len(known) > 12 else "")


def _suggestion(text: str, known: list[str], otherwise: str) -> str:
    near = difflib.get_close_matches(text, known, 1, 0.6)
    same = [name for name in known if name.casefold() == text.casefold()]
    found = (same or near)[:1]
    return f"Did you mean '{found[0]}'?" if found else f"{otherwise}; known are {_listed(known)}"


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
    if typed.words(column) <= set(listed):
        return
    unknown = texts.notna() & ~texts.isin(listed)
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
    frame, told, pairs = typed.frame, rows_told(typed, "stage"), typed.pairs("organism", "stage")
    for name, organism in organisms.items():
        fitting = organism.stages or (None,)
        if all(stage in fitting for one, stage in pairs if one == name):
            continue
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


def grades_and_causes(typed: Typed, context: Context) -> Iterator[Problem]:
    """A cull has a declared cause, a marketable fruit has none."""
    frame = typed.frame
    yield from _undeclared_grade(typed)
    yield from _undeclared(
        typed, "cull_cause", [cause.id for cause in context.study.cull_causes], "cull cause"
    )
    pairs = typed.pairs("grade", "cull_cause")
    if all((grade == "cull") == (cause is not None) for grade, cause in pairs):
        return
    cause, told = frame["cull_cause"], rows_told(typed, "cull_cause")
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


def _undeclared_grade(typed: Typed) -> Iterator[Problem]:
    if not typed.words("grade") <= set(GRADES):
        grades = typed.frame["grade"]
        unknown = grades.notna() & ~grades.isin(GRADES)
        yield Problem(
            "unknown_grade",
            "'{value}' is neither marketable nor cull",
            "Type marketable or cull",
            rows_where(unknown),
            "grade",
        )


def fruit_and_weight(typed: Typed, context: Context) -> Iterator[Problem]:
    """Fruit have a weight, and a weight belongs to fruit."""
    if not {"fruit", "weight"} <= set(typed.sheet.cells):
        return
    fruit, weight = typed.frame["fruit"], typed.frame["weight"]
    if _go_together(fruit.to_numpy(), weight.to_numpy()):
        return
    readable = ~typed.frame.index.isin([*rows_told(typed, "fruit"), *rows_told(typed, "weight")])
    pairs = (
        ("weight_without_fruit", "weight", "fruit", (weight > 0) & ~(fruit > 0) & ~(fruit < 0)),
        ("fruit_without_weight", "fruit", "weight", (fruit > 0) & ~(weight > 0) & ~(weight < 0)),
    )
    named = {"fruit": "number of fruit", "weight": "weight"}
    for code, has, lacks, mask in pairs:
        if (mask & readable).any():
            yield Problem(
                code,
                f"there is a {has} but no {lacks}"
                if has == "weight"
                else "there is fruit but no weight",
                f"Type the {named[lacks]}, or 0 in both if nothing was picked",
                rows_where(mask & readable),
                lacks,
            )
    nothing = fruit.isna() & weight.isna() & readable
    yield from _nothing_measured(nothing, "fruit", "neither fruit nor weight was typed")


def _go_together(fruit: np.ndarray, weight: np.ndarray) -> bool:
    """Say whether both are typed in every row, and both or neither above zero."""
    return bool((((fruit > 0) == (weight > 0)) & ~np.isnan(fruit) & ~np.isnan(weight)).all())


def _nothing_measured(mask: "pd.Series[bool]", column: str, what: str) -> Iterator[Problem]:
    if mask.any():
        remedy = "Type what the field sheet says (0 for none), or delete the row"
        yield Problem(
            "value_missing", what, remedy, rows_where(mask), column, "note", True, once=True
        )


def sizes_given(typed: Typed, context: Context) -> Iterator[Problem]:
    """A measured fruit has a length or a diameter."""
    readable = ~typed.frame.index.isin([*rows_told(typed, "length"), *rows_told(typed, "diameter")])
    nothing = typed.frame["length"].isna() & typed.frame["diameter"].isna() & readable
    yield from _nothing_measured(nothing, "length", "neither length nor diameter was typed")


def scores_in_scale(typed: Typed, context: Context) -> Iterator[Problem]:
    """Ratings are declared, and scores lie within their scale."""
    ratings = {rating.id: rating for rating in context.study.ratings}
    yield from _undeclared(typed, "what", ratings, "rating")
    score, words = typed.frame["score"], typed.words("what")
    for name, rating in ratings.items():
        top = 100.0 if rating.scale == "percent" else 10.0
        if name not in words or not ((score < 0) | (score > top)).any():
            continue
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


def declared_treatments(typed: Typed, context: Context) -> Iterator[Problem]:
    """Treatments are declared in study.toml."""
    yield from _undeclared(typed, "treatment", context.study.treatment_ids, "treatment")


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
