"""What else of a site-season the final report needs: work done, weather, culls, values as typed.

Written beside the tables that the report of the site-season hands on, so that the final report
reads no field file again. Numbers keep their full precision.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

import pandas as pd

from trialkit.columns import PLOT_VALUES
from trialkit.errors import TrialkitError
from trialkit.intake.files import FileRecord

BACKGROUND: Final = "background.json"
AS_TYPED: Final = "plot_values_as_typed.csv"

# What becomes of the site-season when corrections.csv is set aside.
Uncorrected = Literal["the same", "other values", "not usable"]


@dataclass(frozen=True)
class Background:
    """What a site-season hands on besides plot values and effects.

    event_times : treatment -> event -> how often it happened, on average over its plots.
    wet_days, hot_days : in bloom; None where they are not on record.
    culls       : plot -> culls in kg/m².
    uncorrected : what becomes of the plot values without corrections.csv.
    """

    event_times: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    wet_days: float | None = None
    hot_days: float | None = None
    culls: Mapping[str, float] = field(default_factory=dict)
    uncorrected: Uncorrected = "the same"


def write_background(folder: Path, background: Background, as_typed: pd.DataFrame | None) -> None:
    """Write both files into a folder that exists; ``as_typed`` has the columns PLOT_VALUES.

    The table of values as typed is always there, empty where nothing was corrected, so that a
    folder never keeps one of an earlier render.
    """
    content = json.dumps(asdict(background), indent=1, ensure_ascii=False) + "\n"
    (folder / BACKGROUND).write_text(content, encoding="utf-8")
    values = pd.DataFrame(columns=list(PLOT_VALUES)) if as_typed is None else as_typed
    values.to_csv(folder / AS_TYPED, index=False, lineterminator="\n")


def read_background(folder: Path, reports: Path) -> tuple[Background, FileRecord]:
    """Read back what :func:`write_background` wrote, with the record of its file.

    Raises TrialkitError for a file of another version.
    """
    path = folder / BACKGROUND
    content = path.read_bytes()
    checksum = hashlib.sha256(content).hexdigest()
    try:
        told: dict[str, Any] = json.loads(content)
        background = Background(**told)
    except (ValueError, TypeError):
        raise TrialkitError(
            f"{path.as_posix()}::: it was written by another version. Render the report again."
        ) from None
    return background, FileRecord(path.relative_to(reports).as_posix(), checksum, 1)
