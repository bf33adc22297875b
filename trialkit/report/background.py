"""What a site-season hands on to the final report besides plot values and effects."""

import math

from trialkit import measures
from trialkit.intake import Background, SiteSeason, Uncorrected
from trialkit.report.corrections import Undone
from trialkit.report.weather import weather_of
from trialkit.study import Study


def background_of(study: Study, data: SiteSeason, undone: Undone) -> Background:
    """Background of a site-season; ``undone`` is what corrections moved in it."""
    wet, hot = _in_bloom(study, data)
    return Background(
        event_times=event_times(study, data),
        wet_days=wet,
        hot_days=hot,
        culls=_culls(study, data),
        uncorrected=uncorrected_of(undone),
    )


def event_times(study: Study, data: SiteSeason) -> dict[str, dict[str, float]]:
    """How often each event happened to each treatment, on average over its plots.

    An event without a plot happened to the whole site, and so to every treatment.
    """
    events, plots = data.tables["events"], data.tables["plots"]
    everywhere = events["plot"].isna() | (events["plot"] == "")
    found: dict[str, dict[str, float]] = {}
    for treatment in study.treatment_ids:
        own = set(plots.loc[plots["treatment"] == treatment, "plot"])
        share = (everywhere + events["plot"].isin(own) / max(len(own), 1)).astype(float)
        times = share.groupby(events["event"]).sum()
        found[treatment] = {str(name): float(n) for name, n in times.items() if n > 0}
    return found


def _in_bloom(study: Study, data: SiteSeason) -> tuple[float | None, float | None]:
    if data.tables["weather"].empty:
        return None, None
    found = weather_of(study, data)
    return _known(found.wet_days_in_bloom), _known(found.hot_days_in_bloom)


def _known(number: float | None) -> float | None:
    return None if number is None or math.isnan(number) else float(number)


def _culls(study: Study, data: SiteSeason) -> dict[str, float]:
    grades = measures.grades(study, data.tables, None)
    weight = grades[grades["grade"] == "cull"].groupby("plot")["weight"].sum()
    area = data.tables["plots"].set_index("plot")["area"]
    values = weight / area.reindex(weight.index)
    return {str(plot): float(value) for plot, value in values.items()}


def uncorrected_of(undone: Undone) -> Uncorrected:
    """What becomes of a site-season when corrections.csv is set aside."""
    if undone.made.empty:
        return "the same"
    return "other values" if undone.as_typed is not None else "not usable"
