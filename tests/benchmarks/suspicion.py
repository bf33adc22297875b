"""Planted faults found and false alarms of intake's suspicion; writes suspicion.csv beside itself.

    PYTHONPATH=. python tests/benchmarks/suspicion.py [PER_KIND] [SITES] [SEASONS]

Site-seasons are simulated by the example's truth with pressure and level drawn anew. Each fault is
planted alone into the tables of one clean site-season; it is found where a question of its own
code is asked that the clean tables do not raise. The check of each site-season is held against
those of the other sites of its season. False alarms are all questions of clean tables.
"""

import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
from planted_faults import KINDS, Tables
from scaled_study import scaled_study

from trialkit.intake import read_site_season
from trialkit.intake.suspicion import suspicions
from trialkit.intake.suspicion.sites import CheckLevel, check_levels, odd_checks
from trialkit.study import read_study

SEED = 20
Place = tuple[int, str]
Levels = dict[Place, list[CheckLevel]]


def codes(tables: Tables, place: Place, levels: Levels) -> Counter[str]:
    """Questions of the tables, by code and number of rows; ``levels`` are those of all places."""
    found: Counter[str] = Counter()
    for _, problem in suspicions(tables):
        found[problem.code] += len(problem.rows)
    beside = {**levels, place: check_levels(tables, "check")}
    found["check_differs"] += sum(at == place for at, _, _ in odd_checks(beside))
    return found


def with_observers(tables: Tables, rng: np.random.Generator) -> Tables:
    """Let two observers share the plants of every visit, so that a false alarm can be raised."""
    scouting = tables["scouting"]
    return {**tables, "scouting": scouting.assign(observer=rng.choice(["A", "B"], len(scouting)))}


def clean_site_seasons(sites: int, seasons: int) -> dict[Place, Tables]:
    """Tables of simulated site-seasons as intake reads them."""
    with tempfile.TemporaryDirectory() as folder:
        study = read_study(scaled_study(Path(folder) / "study", sites, seasons, seed=SEED))
        return {p: dict(read_site_season(study, *p).tables) for p in study.site_seasons()}


def measured(read: dict[Place, Tables], per_kind: int) -> pd.DataFrame:
    """One row per kind, then the false alarms."""
    rng, rows = np.random.default_rng(SEED), []
    clean, places = [with_observers(tables, rng) for tables in read.values()], list(read)
    levels = {p: check_levels(one, "check") for p, one in zip(places, clean, strict=True)}
    before = [codes(one, p, levels) for p, one in zip(places, clean, strict=True)]
    for kind, (plant, names, gross) in KINDS.items():
        planted = found = 0
        for number in rng.permutation(np.tile(np.arange(len(clean)), 3)):
            changed = plant(clean[number], rng) if planted < per_kind else None
            if changed is not None:
                planted += 1
                now = codes(changed, places[number], levels)
                found += any(now[name] > before[number][name] for name in names)
        rows.append((kind, gross, planted, found, found / max(planted, 1)))
        print(rows[-1], flush=True)
    alarms = [sum(one.values()) for one in before]
    every = sum((one for one in before), Counter())
    print("false alarms a clean site-season", np.mean(alarms), "most", max(alarms), dict(every))
    rows.append((f"false alarms in {len(clean)} clean site-seasons", False, len(clean),
                 sum(alarms), float(np.mean(alarms))))  # fmt: skip
    rows.append(("most false alarms in one of them", False, len(clean), max(alarms), np.nan))
    return pd.DataFrame(rows, columns=["kind", "gross", "planted", "found", "share"])


def main() -> None:
    """Measure, print and write the table."""
    per_kind, sites, seasons = map(int, (sys.argv[1:] + ["25", "6", "5"][len(sys.argv) - 1 :]))
    table = measured(clean_site_seasons(sites, seasons), per_kind)
    gross = table[table["gross"]]
    print(table.to_string(index=False))
    print(f"gross faults found: {gross['found'].sum()} of {gross['planted'].sum()}")
    table.to_csv(Path(__file__).with_suffix(".csv"), index=False, float_format="%.4g")


if __name__ == "__main__":
    main()
