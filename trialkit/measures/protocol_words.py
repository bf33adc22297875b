"""Rows of the table of deviations: what was planned and what happened, in words with dates."""

import pandas as pd

from trialkit.study import ProtocolRule

Row = tuple[object, ...]
_VISIT = {"scouting": "count", "harvest": "picking"}


def timed_rows(rule: ProtocolRule, departed: pd.DataFrame, total: pd.Series) -> list[Row]:
    """Return a row per treatment and way of departing, for a rule about an event.

    ``departed`` has treatment, plot, planned, happened, off (days); ``total`` plots by treatment.
    """
    ways = departed.assign(unplanned=departed["planned"].isna(), undone=departed["happened"].isna())
    return [
        _timed_row(rule, group, int(total[group["treatment"].iloc[0]]))
        for _, group in ways.groupby(["treatment", "unplanned", "undone"], observed=True)
    ]


def gap_row(rule: ProtocolRule, treatment: str, gaps: pd.DataFrame, total: pd.Series) -> Row:
    """Return the row of one stretch without a visit; ``gaps`` has plot, before, date, days."""
    visit = _VISIT[str(rule.table)]
    first, last = gaps["before"].min(), gaps["date"].max()
    longest = int(gaps["days"].max())
    plots = _share(gaps["plot"], int(total[treatment])) if rule.table == "scouting" else ""
    happened = f"no {visit} between {first:%Y-%m-%d} and {last:%Y-%m-%d}: {longest} days{plots}"
    return (treatment, rule.id, _every(rule), happened, longest - int(rule.every_days or 0))


def no_visit_row(rule: ProtocolRule, treatment: str) -> Row:
    """Return the row of a treatment that a rule about a table never saw."""
    happened = f"no {_VISIT[str(rule.table)]} on record"
    return (treatment, rule.id, _every(rule), happened, float("nan"))


def _timed_row(rule: ProtocolRule, plots: pd.DataFrame, total: int) -> Row:
    treatment, event = plots["treatment"].iloc[0], _name(rule.event)
    share = _share(plots["plot"], total)
    if plots["planned"].isna().all():
        planned = f"{rule.what} (no {_name(rule.after)} on record)"
    else:
        slack = f", within {_days(rule.within)}" if rule.within else ""
        planned = f"{rule.what}: {_span(plots['planned'])}{slack}"
    if plots["happened"].isna().all():
        return (treatment, rule.id, planned, f"no {event} on record{share}", float("nan"))
    happened = f"{event}: {_span(plots['happened'])}{share}"
    farthest = plots["off"].sort_values(key=abs).dropna().tail(1).sum(min_count=1)
    return (treatment, rule.id, planned, happened, float(farthest))


def _every(rule: ProtocolRule) -> str:
    slack = f", within {_days(rule.within)}" if rule.within else ""
    return f"{rule.what}: at least every {_days(int(rule.every_days or 0))}{slack}"


def _share(plots: pd.Series, total: int) -> str:
    names = sorted(map(str, plots.unique()))
    if len(names) == total:
        return ""
    return f" ({len(names)} of {total} plots: {', '.join(names)})"


def _span(dates: pd.Series) -> str:
    first, last = dates.min(), dates.max()
    return f"{first:%Y-%m-%d}" + ("" if first == last else f" to {last:%Y-%m-%d}")


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"


def _name(event: str | None) -> str:
    return str(event).replace("_", " ")
