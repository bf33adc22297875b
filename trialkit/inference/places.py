"""Site and season of every row: what makes up the environment, and what may recur over it."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference.columns_in import check_columns, factor_column


@dataclass(frozen=True)
class Places:
    """The frame with its environment column named, and labels of site and season by its index.

    recurring : which of "site" and "season" have terms of their own; None where a rule decides.
    """

    frame: pd.DataFrame
    environment: str | None
    site: pd.Series | None = None
    season: pd.Series | None = None
    recurring: tuple[str, ...] | None = None


def places_of(
    frame: pd.DataFrame,
    environment: str | None,
    site: str | None,
    season: str | None,
    recurring: Sequence[str] | None = None,
) -> Places:
    """Read the columns ``site`` and ``season``; without ``environment`` they make it up.

    Raises AnalysisError for columns that are not there, where rows of one environment name several
    sites or seasons, and where ``recurring`` names a role that no column was given for.

    >>> frame = pd.DataFrame({"farm": ["hill", "hill"], "year": [2024, 2025]})
    >>> found = places_of(frame, None, "farm", "year")
    >>> found.environment, found.frame[found.environment].tolist()
    ('farm and year', ['hill 2024', 'hill 2025'])
    """
    named = {"site": site, "season": season}
    given = {role: name for role, name in named.items() if name is not None}
    _check_recurring(recurring, given)
    if not given:
        return Places(frame, environment)
    check_columns(frame, given)
    labels = {role: factor_column(frame[name]) for role, name in given.items()}
    if environment is None:
        frame, environment = _combined(frame, given, labels)
    elif environment in frame.columns:
        places = factor_column(frame[environment])
        for role, name in given.items():
            _check_one_each(places, labels[role], (environment, role, name))
    asked = None if recurring is None else tuple(recurring)
    return Places(frame, environment, labels.get("site"), labels.get("season"), asked)


def _check_recurring(recurring: Sequence[str] | None, given: dict[str, str]) -> None:
    missing = [role for role in recurring or () if role not in given]
    if missing:
        raise AnalysisError(
            f"recurring names '{missing[0]}', for which no column is given. Say which column holds "
            "it (site=..., season=...), or leave it out of recurring."
        )


def _combined(
    frame: pd.DataFrame, given: dict[str, str], labels: dict[str, pd.Series]
) -> tuple[pd.DataFrame, str]:
    if len(given) == 1:
        return frame, next(iter(given.values()))
    name = " and ".join(given.values())
    site, season = labels["site"], labels["season"]
    both = (site + " " + season).where(site.notna() & season.notna(), None)
    return frame.assign(**{name: both}), name


def _check_one_each(environment: pd.Series, labels: pd.Series, names: tuple[str, str, str]) -> None:
    """Raise AnalysisError unless every environment has exactly one label."""
    pairs = set(zip(environment.to_numpy(), labels.to_numpy(), strict=True))
    places = {place for place, _ in pairs}
    if len(pairs) == len(places) and None not in places | {label for _, label in pairs}:
        return
    column, role, name = names
    for place, own in labels.groupby(environment):
        found = own.dropna().unique()
        if len(found) > 1:
            raise AnalysisError(
                f"Column '{column}' puts {role} '{found[0]}' and {role} '{found[1]}' of column "
                f"'{name}' into one environment ('{place}'). An environment is one site in one "
                "season: give each its own label, or leave out environment."
            )
        if own.isna().any():
            row = own.index[own.isna()][0]
            raise AnalysisError(
                f"Row {row}, column '{name}': the {role} is missing. Fill it in; every row of an "
                "analysis across environments needs it."
            )
