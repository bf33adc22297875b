"""What every kind of measure hands back: one row per standing plot, values and words."""

from typing import Any, Final

import pandas as pd

from trialkit.measures.site_data import SiteData

NUMBERS: Final = ("value", "events", "trials", "exposure")
WORDS: Final = ("left_out", "note")


def result(data: SiteData, **numbers: pd.Series) -> pd.DataFrame:
    """Return a frame by standing plot: NUMBERS (NaN where not given) and empty WORDS."""
    plots = data.standing.index
    given = {
        name: numbers[name].reindex(plots).astype(float) if name in numbers else float("nan")
        for name in NUMBERS
    }
    return pd.DataFrame({**given, "left_out": "", "note": ""}, index=plots)


def leave_out(frame: pd.DataFrame, plots: Any, reason: Any) -> pd.DataFrame:
    """Return ``frame`` with ``reason`` (text, or texts by plot) for ``plots`` without one yet."""
    return _say(frame, "left_out", plots, reason)


def note(frame: pd.DataFrame, plots: Any, text: Any) -> pd.DataFrame:
    """Return ``frame`` with a note (text, or texts by plot) for ``plots`` without one yet."""
    return _say(frame, "note", plots, text)


def without_value(frame: pd.DataFrame) -> pd.Index:
    """Return the plots that have neither a value nor a reason for its absence."""
    return frame.index[frame["value"].isna() & (frame["left_out"] == "")]


def _say(frame: pd.DataFrame, column: str, plots: Any, text: Any) -> pd.DataFrame:
    chosen = frame.index.isin(list(plots)) & (frame[column] == "")
    if not chosen.any():
        return frame
    words = text.reindex(frame.index) if isinstance(text, pd.Series) else text
    return frame.assign(**{column: frame[column].mask(chosen, words)})
