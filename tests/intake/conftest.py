"""A valid small study in a folder; tests write it and then break one thing."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import openpyxl
import pytest

from trialkit.intake import SiteSeason, read_site_season
from trialkit.study import Study, read_study

STUDY = """
name = "mini"
title = "A made-up study"
crop = "eggplant"
units = "si"
invented = true
missing_codes = ["n.d.", "-999"]

[[treatments]]
id = "check"
name = "Untreated check"
check = true
[[treatments]]
id = "netting"
name = "Netting"

[[sites]]
id = "north"
name = "North"
[[sites]]
id = "south"
name = "South"

[[seasons]]
year = 2026
first_date = 2026-05-01
last_date = 2026-09-30
[[seasons]]
year = 2027
first_date = 2027-05-01
last_date = 2027-09-30
finished = false

[[organisms]]
id = "flea_beetle"
name = "flea beetles"
stages = ["adult", "larva"]
[[organisms]]
id = "spider"
name = "spiders"

[[cull_causes]]
id = "sunscald"
name = "sunscald"
[[ratings]]
id = "holes"
name = "holes"
[[ratings]]
id = "cover_percent"
name = "cover"
scale = "percent"

[[measures]]
id = "days"
name = "Flea beetle days"
kind = "insect_days"
organism = "flea_beetle"
margin = 30
[[measures]]
id = "yield"
name = "Marketable yield"
kind = "marketable_yield"
margin = 10
"""

PLOTS = """plot,block,treatment,row,column,plants,area,lost
101,1,check,1,1,8,6,
102,1,netting,1,2,8,6,
201,2,netting,2,1,8,6,
202,2,check,2,2,8,6,
"""
SCOUTING = """date,plot,plant,organism,stage,count,observer,note
2026-06-05,101,1,flea_beetle,adult,4,AB,
2026-06-05,102,1,flea_beetle,adult,0,AB,
2026-06-05,201,1,flea_beetle,adult,1,AB,
2026-06-05,202,1,flea_beetle,adult,6,AB,
2026-06-15,101,1,flea_beetle,adult,9,AB,windy
2026-06-15,102,1,flea_beetle,larva,2,AB,
2026-06-15,201,1,spider,,1,AB,
2026-06-15,202,1,flea_beetle,adult,12,AB,
"""
RATINGS = """date,plot,what,score,observer
2026-06-20,101,holes,6,AB
2026-06-20,102,holes,0.5,AB
2026-06-20,201,cover_percent,45,AB
2026-06-20,202,holes,7,AB
"""
HARVEST = """date,plot,grade,cull_cause,fruit,weight
2026-08-01,101,marketable,,10,3.2
2026-08-01,101,cull,sunscald,2,0.5
2026-08-01,102,marketable,,14,4.4
2026-08-01,201,marketable,,12,4.0
2026-08-01,202,marketable,,0,0
"""
FRUIT_SIZES = """date,plot,length,diameter
2026-08-01,101,180,70
2026-08-01,101,190,
2026-08-01,202,175,66
"""
EVENTS = """date,plot,event,note
2026-05-20,,transplanted,
2026-05-21,102,cover_on,
2026-07-01,102,cover_off,
"""
WEATHER = """date,tmin,tmax,rain
2026-01-01,-6,1.5,0
2026-06-05,12,24.5,0
2026-06-06,13,26,4.2
"""
COSTS = """treatment,item,quantity,unit,price,lasts_seasons
netting,fine mesh,120,m2,0.8,2
netting,labour,6,hour,18,
"""
FILES = {
    "plots": PLOTS,
    "scouting": SCOUTING,
    "ratings": RATINGS,
    "harvest": HARVEST,
    "fruit_sizes": FRUIT_SIZES,
    "events": EVENTS,
    "weather": WEATHER,
}


@dataclass(frozen=True)
class Mini:
    """The small study's folder, with the means to write, break and read it."""

    folder: Path

    @property
    def site(self) -> Path:
        return self.folder / "data" / "2026" / "north"

    def study(self) -> Study:
        return read_study(self.folder)

    def read(self) -> SiteSeason:
        return read_site_season(self.study(), 2026, "north")

    def declare(self, old: str, new: str) -> None:
        path = self.folder / "study.toml"
        text = path.read_text()
        if old not in text:
            raise ValueError(old)
        path.write_text(text.replace(old, new, 1))

    def write(self, table: str, content: str | bytes) -> None:
        data = content if isinstance(content, bytes) else content.encode()
        (self.site / f"{table}.csv").write_bytes(data)

    def change(self, table: str, old: str, new: str) -> None:
        if old not in FILES[table]:
            raise ValueError(old)
        self.write(table, FILES[table].replace(old, new, 1))

    def workbook(self, change: Callable[[openpyxl.Workbook], None] = lambda book: None) -> None:
        """Replace the CSV files by one workbook, changed by ``change``."""
        book = openpyxl.Workbook()
        book.remove(book.active)
        for table, text in FILES.items():
            sheet = book.create_sheet(table)
            for line in text.splitlines():
                sheet.append([_cell(cell) for cell in line.split(",")])
        change(book)
        for path in self.site.glob("*.csv"):
            path.unlink()
        book.save(self.site / "field.xlsx")


def _cell(text: str) -> object:
    try:
        return float(text)
    except ValueError:
        return text or None


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("template") / "mini"
    site = folder / "data" / "2026" / "north"
    site.mkdir(parents=True)
    (folder / "study.toml").write_text(STUDY)
    (folder / "costs.csv").write_text(COSTS)
    for table, text in FILES.items():
        (site / f"{table}.csv").write_text(text)
    return folder


@pytest.fixture
def mini(template: Path, tmp_path: Path) -> Mini:
    return Mini(Path(shutil.copytree(template, tmp_path / "mini")))
