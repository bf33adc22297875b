"""Plots on which something had not happened by the last visit: known only as 'more than'."""

import pandas as pd

from trialkit.measures.result import leave_out
from trialkit.measures.site_data import SiteData


def leave_out_censored(
    frame: pd.DataFrame, data: SiteData, last: pd.Series, start: pd.Series, what: str
) -> pd.DataFrame:
    """Return ``frame`` without censored plots and without the other plots of their treatments.

    ``last`` holds the last date looked at, by censored plot; ``start`` the date that days count
    from. The mean of the plots that did get there would make a treatment look faster than it is,
    so the whole treatment is left out and its known values stay for the record only.
    """
    if last.empty:
        return frame
    days = (pd.to_datetime(last) - start.reindex(last.index)).dt.days
    words = [
        f"{what} by the last visit, {date:%Y-%m-%d}"
        + ("" if pd.isna(more) else f": more than {int(more)} days, not known how many (censored)")
        for date, more in zip(last, days, strict=True)
    ]
    frame = leave_out(frame, last.index, pd.Series(words, index=last.index, dtype=object))
    treatment = data.standing["treatment"]
    number = treatment.reindex(last.index).value_counts()
    share = treatment.map(number).dropna().astype(int)
    total = treatment.map(treatment.value_counts())
    reason = pd.Series(
        [
            f"{what} on {n} of the {whole} plots of its treatment, so its mean is not known"
            for n, whole in zip(share, total.reindex(share.index), strict=True)
        ],
        index=share.index,
        dtype=object,
    )
    return leave_out(frame, share.index, reason)
