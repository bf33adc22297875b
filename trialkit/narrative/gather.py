"""Gathering the facts of a report from its study and findings."""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from trialkit.findings import AcrossFindings, Findings, without_excluded
from trialkit.narrative.advice import Advice, advice_texts, with_advice
from trialkit.narrative.claims import standing_of
from trialkit.narrative.conditions import Condition
from trialkit.narrative.default_text import bullets, default_sentences
from trialkit.narrative.facts import EffectFact, Facts, MeasureFact
from trialkit.narrative.numbers import NBSP, change_range
from trialkit.narrative.phrases import cautions, display_unit_of, lower_first, shown_effect
from trialkit.narrative.values import Value, amount, change_value, count, setting, words
from trialkit.study import Study
from trialkit.study.units import to_display

Named = Iterator[tuple[str, Value]]


@dataclass(frozen=True)
class Place:
    """A site-season and what its layout came to; ``season_words`` is empty for a finished one.

    ``corrections`` is the number on record; ``cautions`` are sentences of this place's own.
    """

    season: int
    site: str
    blocks: int
    plots: int
    lost: int
    season_words: str = ""
    corrections: int = 0
    cautions: tuple[str, ...] = ()


def site_season_facts(study: Study, place: Place, findings: Findings) -> Facts:
    """Facts of one site's season."""
    effects = _effects(study, findings.effects)
    facts = _facts(study, effects, (), findings, across=False)
    values = dict(
        [*_of_place(study, place), *_of_study(study), *_of_findings(study, facts, findings)]
    )
    facts = replace(facts, values=values)
    return _with_text(study, facts, place.season_words, place.cautions)


def across_facts(
    study: Study,
    found: AcrossFindings,
    advice: Advice | None = None,
    own_cautions: tuple[str, ...] = (),
) -> Facts:
    """Facts of the whole study; claims about every site rest on the finished site-seasons.

    ``advice`` is what money and recommendations come to; ``own_cautions`` are sentences of this
    study's own that stand before the usual cautions.
    """
    pooled = _effects(study, found.pooled.effects)
    finished = set(found.environments)
    stay = without_excluded(study, found.effects)
    singles = tuple(one for one in _effects(study, stay) if (one.season, one.site) in finished)
    facts = _facts(study, pooled, singles, found.pooled, across=True)
    values = [
        *_of_environments(found),
        *_of_study(study),
        *_of_findings(study, facts, found.pooled),
    ]
    values += _shown_in(facts)
    facts = with_advice(replace(facts, values=dict(values)), advice or Advice())
    told = _with_text(study, facts, own_cautions=own_cautions)
    return replace(told, sentences={**told.sentences, **advice_texts(told)})


def _with_text(
    study: Study, facts: Facts, season_words: str = "", own_cautions: tuple[str, ...] = ()
) -> Facts:
    every = bullets([*own_cautions, *cautions(study)])
    told = {**default_sentences(facts, season_words), "cautions": every}
    return replace(facts, sentences=told)


def _facts(
    study: Study,
    effects: tuple[EffectFact, ...],
    singles: tuple[EffectFact, ...],
    findings: Findings,
    across: bool,
) -> Facts:
    return Facts(
        across=across,
        level=study.level,
        check=study.check.id,
        treatments={name: study.treatment(name).name for name in study.treatment_ids},
        measures={
            measure.id: MeasureFact(
                measure.name,
                display_unit_of(measure, study),
                measure.lower_is_better,
                measure.primary,
            )
            for measure in study.measures
        },
        effects=effects,
        singles=singles,
        unanswered=dict(findings.unanswered),
    )


def _effects(study: Study, frame: pd.DataFrame) -> tuple[EffectFact, ...]:
    return tuple(_effect(study, row) for row in frame.to_dict("records"))


def _effect(study: Study, row: Mapping[Any, Any]) -> EffectFact:
    effect, low, high, unit = shown_effect(row, study)
    margin = float(row["margin"])
    if row["effect_unit"] not in ("percent", "points"):
        margin = float(to_display(margin, study.measure(row["measure"]).quantity, study.units))
    return EffectFact(
        season=int(row["season"]),
        site=str(row["site"]),
        measure=row["measure"],
        treatment=row["treatment"],
        effect=float(effect),
        low=float(low),
        high=float(high),
        unit=unit,
        margin=margin,
        verdict=row["verdict"],
        direction=row["direction"],
        bound=row["bound"],
    )


def _of_study(study: Study) -> Named:
    yield "study.title", words(study.title, "title of the study")
    yield "study.crop", words(study.crop, "crop")
    yield "study.level", setting(100 * study.level, "%", "level of every interval")
    for treatment in study.treatments:
        yield f"{treatment.id}.name", words(lower_first(treatment.name), "treatment")
    for measure in study.measures:
        yield f"{measure.id}.name", words(lower_first(measure.name), "measure")
        yield f"{measure.id}.unit", words(display_unit_of(measure, study), "unit of the measure")


def _of_place(study: Study, place: Place) -> Named:
    yield "site.name", words(study.site(place.site).name, "name of the site")
    yield "site.kind", words(study.site(place.site).kind, "station or farm")
    yield "season", words(str(place.season), "year of the season")
    yield "blocks", count(place.blocks, "blocks laid out")
    yield "plots.laid_out", count(place.plots, "plots laid out")
    yield "plots.lost", count(place.lost, "plots lost")
    yield "corrections", count(place.corrections, "corrections of the data on record")


def _of_environments(found: AcrossFindings) -> Named:
    yield "site_seasons", count(len(found.environments), "finished site-seasons combined")
    yield "sites", count(len({site for _, site in found.environments}), "sites combined")
    yield "seasons", count(len({year for year, _ in found.environments}), "seasons combined")


def _of_findings(study: Study, facts: Facts, findings: Findings) -> Named:
    for effect in facts.effects:
        yield from _of_effect(effect, facts)
    for row in findings.means.to_dict("records"):
        yield from _of_mean(study, row)


def _of_effect(effect: EffectFact, facts: Facts) -> Named:
    stem = f"{effect.treatment}.{effect.measure}"
    about = f"{facts.treatments[effect.treatment]}, {facts.measures[effect.measure].name}"
    main = _main_change(effect, f"{about}: difference from the check")
    yield f"{stem}.change", main
    if effect.unit in ("percent", "points"):
        named = "percent_change" if effect.unit == "percent" else "point_change"
        yield f"{stem}.{named}", main
    yield f"{stem}.low", change_value(effect.low, effect.unit, f"{about}: lower end")
    yield f"{stem}.high", change_value(effect.high, effect.unit, f"{about}: upper end")
    interval = change_range(effect.low, effect.high, effect.unit)
    yield f"{stem}.interval", words(interval, f"{about}: interval")
    unit = "%" if effect.unit == "percent" else effect.unit
    yield f"{stem}.margin", setting(effect.margin, unit, f"{about}: difference that matters")
    yield f"{stem}.verdict", words(effect.verdict, f"{about}: verdict")


def _main_change(effect: EffectFact, about: str) -> Value:
    """The estimate; where the data give one end only, that end, said as such."""
    if not effect.bound:
        return change_value(effect.effect, effect.unit, about)
    end = effect.high if effect.bound == "upper" else effect.low
    told = change_value(end, effect.unit, about)
    toward_zero = math.isfinite(end) and (effect.bound == "upper") == (end < 0)
    return replace(told, text=f"at least {told.text}") if toward_zero else told


def _of_mean(study: Study, row: Mapping[Any, Any]) -> Named:
    measure = study.measure(row["measure"])
    unit = display_unit_of(measure, study)
    stem = f"{row['treatment']}.{measure.id}"
    about = f"{study.treatment(row['treatment']).name}, {measure.name}"
    named = {"mean": "mean", "low": "mean_low", "high": "mean_high"}
    for column, name in named.items():
        number = float(to_display(row[column], measure.quantity, study.units))
        yield f"{stem}.{name}", amount(number, unit, f"{about}: {name.replace('_', ', ')}")
    yield f"{stem}.plots", count(float(row["n"]), f"{about}: plots analysed")


def _shown_in(facts: Facts) -> list[tuple[str, Value]]:
    """For each clear combined effect: how many site-seasons show it on their own."""
    told = []
    for effect in facts.effects:
        if not (effect.high < 0 or effect.low > 0):
            continue
        verb = Condition(
            effect.treatment, "lowers" if effect.high < 0 else "raises", effect.measure
        )
        rows = _alike(effect, facts.singles)
        shown = sum(standing_of(verb, row, facts) == "supported" for row in rows)
        if rows:
            about = f"{facts.treatments[effect.treatment]}: site-seasons that show it alone"
            text = f"{shown} of {len(rows)}{NBSP}finished site-seasons"
            told.append((f"{effect.treatment}.{effect.measure}.shown_in", words(text, about)))
    return told


def _alike(effect: EffectFact, rows: Iterable[EffectFact]) -> list[EffectFact]:
    same = (effect.treatment, effect.measure)
    return [row for row in rows if (row.treatment, row.measure) == same]
