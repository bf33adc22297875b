"""The parts of a study description: treatments, sites, seasons, organisms, protocol rules.

All are frozen; an unknown key is an error, so that a misspelt one never passes in silence.
"""

import datetime as dt
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

Identifier = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,39}$")]
LONGEST_LABEL: Final = 32
Caution = Literal["spray", "dust", "cover", "ladder", "food"]


class Part(BaseModel):
    """Base of every part: frozen, no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Treatment(Part):
    """A treatment; exactly one of a study is the untreated check."""

    id: Identifier
    name: str
    short: str = ""
    check: bool = False
    description: str = ""
    cautions: tuple[Caution, ...] = ()

    @property
    def label(self) -> str:
        """Name for figures, where room is short: cut where it would leave none for the data."""
        text = self.short or self.name
        return text if len(text) <= LONGEST_LABEL else f"{text[: LONGEST_LABEL - 1].rstrip()}…"


class Site(Part):
    """A place where the trial stands. ``cooperator`` and ``position`` are private.

    ``normal_rain`` gives the usual rain of each month (1 to 12) in the study's rain unit.
    """

    id: Identifier
    name: str
    kind: Literal["station", "farm"] = "station"
    cooperator: str = ""
    position: str = ""
    normal_rain: dict[int, float] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _months_are_months(self) -> "Site":
        wrong = [month for month in self.normal_rain if not 1 <= month <= 12]
        if wrong:
            raise ValueError(f"normal_rain has month {wrong[0]}; months run from 1 to 12")
        return self


class Season(Part):
    """A season; dates outside ``first_date`` to ``last_date`` are out of season."""

    year: int = Field(ge=1900, le=2200)
    first_date: dt.date
    last_date: dt.date
    finished: bool = True
    sites: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _dates_run_forward(self) -> "Season":
        if self.last_date <= self.first_date:
            raise ValueError("last_date must come after first_date")
        return self


class Organism(Part):
    """Something that is counted, with the stages that are told apart."""

    id: Identifier
    name: str
    stages: tuple[str, ...] = ()


class CullCause(Part):
    """Why a fruit was not marketable."""

    id: Identifier
    name: str


class Rating(Part):
    """A visual score, 0-10 or percent."""

    id: Identifier
    name: str
    scale: Literal["0-10", "percent"] = "0-10"


class ProtocolRule(Part):
    """What should happen and when, so that the report can list what happened otherwise.

    Either ``event`` with ``after`` and ``days`` (days after that event; negative is before), or
    ``table`` with ``every_days`` (longest gap allowed between visits). ``within`` is the slack in
    days. No ``treatments`` means that the rule is for all plots.
    """

    id: Identifier
    what: str
    treatments: tuple[str, ...] = ()
    event: str | None = None
    after: str | None = None
    days: int = 0
    within: int = Field(default=0, ge=0)
    table: Literal["scouting", "harvest"] | None = None
    every_days: int | None = Field(default=None, ge=1)

    @model_validator(mode="after")
    def _is_of_one_form(self) -> "ProtocolRule":
        timed = self.event is not None and self.after is not None
        regular = self.table is not None and self.every_days is not None
        if timed == regular:
            raise ValueError("give either event with after and days, or table with every_days")
        return self


class DegreeDays(Part):
    """Cut-offs of growing degree-days, in the study's own temperature unit, with their source."""

    base: float
    ceiling: float | None = None
    method: Literal["average", "single_sine"] = "average"
    source: str = "common practice, no source"


class WeatherLimits(Part):
    """When a day of this crop counts as wet or hot, in the study's own units, with the source.

    ``wet_day`` is the least rain of a wet day (empty: 1 mm); a hot day is warmer than ``hot_day``
    (empty: warmer than the ceiling of the degree-days, where there is one).
    """

    wet_day: float | None = Field(default=None, gt=0)
    hot_day: float | None = None
    source: str = ""

    @model_validator(mode="after")
    def _names_its_source(self) -> "WeatherLimits":
        if (self.wet_day is not None or self.hot_day is not None) and not self.source:
            raise ValueError("say under 'source' where wet_day and hot_day come from")
        return self
