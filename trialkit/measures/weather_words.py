"""What a reader must know of the weather's numbers: gaps, starts, cut-offs, missing normals."""

import pandas as pd

from trialkit.measures.happenings import dates_of
from trialkit.measures.site_data import SiteData


def words_of(
    data: SiteData,
    daily: pd.DataFrame,
    gaps: pd.DataFrame,
    first: pd.Timestamp,
    blooms: bool,
) -> tuple[str, ...]:
    """Return short sentences on a site-season's weather summary, the weightiest first."""
    if data.weather.empty:
        return ("There is no weather on record for this site and season.",)
    said = [
        *_start(data, first),
        *(_gap(gap, daily) for gap in ("temperature", "rain") if (gaps["what"] == gap).any()),
        *_normal(daily),
        *_cut_offs(data),
    ]
    if not blooms:
        said.append("No first bloom is on record, so days in bloom are not counted.")
    return tuple(said)


def _start(data: SiteData, first: pd.Timestamp) -> list[str]:
    if dates_of(data, "transplanted").notna().any():
        return []
    return [
        f"No transplanting is on record; sums begin on {first:%Y-%m-%d}, the season's first day."
    ]


def _gap(what: str, daily: pd.DataFrame) -> str:
    counted = daily[daily["counted"]]
    columns = ["tmin", "tmax"] if what == "temperature" else ["rain"]
    missing = int(counted[columns].isna().any(axis=1).sum())
    sums = "degree-days" if what == "temperature" else "rain"
    return (
        f"No {what} is on record for {missing} of {len(counted)} days; "
        f"the sum of {sums} leaves these days out and is too low."
    )


def _normal(daily: pd.DataFrame) -> list[str]:
    counted = daily[daily["counted"]]
    bare = counted.loc[counted["rain_normal"].isna(), "date"].dt.strftime("%B").unique()
    if not len(bare):
        return []
    return [f"No normal rain is declared for {', '.join(bare)}; these days are not compared."]


def _cut_offs(data: SiteData) -> list[str]:
    cut = data.study.degree_days
    if cut is None:
        return ["study.toml declares no [degree_days], so degree-days are not summed."]
    method = {"average": "simple average", "single_sine": "single sine"}[cut.method]
    return [f"Degree-days by the {method}; source of the cut-offs: {cut.source}."]
