"""What intake hands on: the tidy tables of a site-season, and everything that was wrong."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from trialkit.errors import DataError, Fault
from trialkit.intake.corrections import as_frame
from trialkit.intake.files import FileRecord
from trialkit.intake.preview import Preview
from trialkit.intake.problems import empty_left_out
from trialkit.intake.suspicion.sites import CheckLevel


def empty_weather() -> pd.DataFrame:
    """Return a table of days without a row."""
    return _NO_WEATHER.copy()


_NO_WEATHER: Final = pd.DataFrame(columns=["date", "tmin", "tmax", "rain"]).astype(
    {"date": "datetime64[ns]", "tmin": float, "tmax": float, "rain": float}
)


@dataclass(frozen=True)
class SiteSeason:
    """One site in one season, as read.

    ``tables`` holds every table of trialkit.columns.TABLES (one without rows where nothing was
    typed or the table cannot be used), in SI units, with all columns of its schema; its index is
    the spreadsheet row. ``left_out`` has one row per row that dropped out (columns table, file,
    row, plot, date, code, reason; row 0 where a whole table did), so that a sum over a plot can be
    told from a sum that misses something. ``unusable`` says why the site-season cannot be analysed
    at all, and is empty where it can. ``corrections`` holds the lines of corrections.csv that were
    made here, and those that answered a question (columns trialkit.intake.corrections.COLUMNS).
    ``earlier_weather`` holds the days of earlier years in a station's file (date, tmin, tmax,
    rain, in SI units). ``check_levels`` is what the check of other sites can be held against.
    ``previews`` shows the first rows of mapped sheets beside the cells they came from.
    """

    season: int
    site: str
    tables: Mapping[str, pd.DataFrame]
    faults: tuple[Fault, ...] = ()
    files: tuple[FileRecord, ...] = ()
    left_out: pd.DataFrame = field(default_factory=empty_left_out)
    unusable: str = ""
    nothing_typed: bool = False
    corrections: pd.DataFrame = field(default_factory=lambda: as_frame(()))
    check_levels: tuple[CheckLevel, ...] = ()
    earlier_weather: pd.DataFrame = field(default_factory=empty_weather)
    previews: tuple[Preview, ...] = ()

    @property
    def usable(self) -> bool:
        """True where the layout stands, so that measures can be worked out."""
        return not self.unusable

    @property
    def errors(self) -> tuple[Fault, ...]:
        """Faults that keep something out of the analysis."""
        return tuple(fault for fault in self.faults if fault.severity == "error")

    def require_usable(self) -> "SiteSeason":
        """Return itself; raise DataError with every error where it is not usable."""
        if self.unusable:
            raise DataError(self.errors or self.faults)
        return self
