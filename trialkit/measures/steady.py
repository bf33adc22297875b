"""Tables that stay as they are, so that what is derived from them needs deriving only once.

A report asks many times for the same: the rows that count, the visits, the dates of an event.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar, cast

import pandas as pd

Function = TypeVar("Function", bound=Callable[..., Any])


class SteadyTables(dict[str, pd.DataFrame]):
    """Tables of a site-season that nobody changes any more; ``known`` is what was derived."""

    def __init__(self, tables: Any) -> None:
        super().__init__(tables)
        self.known: dict[Any, Any] = {}


def once_per_tables(function: Function) -> Function:
    """Let a function of (study, season, site, tables, more) remember what it made of SteadyTables.

    Other tables may be changed between two calls; for them it computes anew.
    """

    @wraps(function)
    def remembering(study: Any, season: int, site: str, tables: Any, *more: Any) -> Any:
        if not isinstance(tables, SteadyTables):
            return function(study, season, site, tables, *more)
        # Frames cannot be compared at no cost; the very same ones, kept alive here, are equal.
        key = (remembering, season, site, id(study), *map(id, more))
        if key not in tables.known:
            tables.known[key] = (function(study, season, site, tables, *more), study, more)
        return tables.known[key][0]

    return cast(Function, remembering)


def once_per_data(function: Function) -> Function:
    """Let a function of (data, words) remember what it made of a SiteData."""

    @wraps(function)
    def remembering(data: Any, *words: Any) -> Any:
        key = (remembering, *words)
        if key not in data.known:
            data.known[key] = function(data, *words)
        return data.known[key]

    return cast(Function, remembering)
