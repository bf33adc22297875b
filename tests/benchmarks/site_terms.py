"""What naming sites and seasons does for the answer across: type I error, coverage and power.

    python tests/benchmarks/site_terms.py [--sets 1000] [--seed 7]

Continuous responses, 4 blocks x 5 treatments at every site in every season; environments as random
sites and seasons with standard deviation 1 each, blocks 0.7, environment x treatment 0.4, residual
1. What differs is whether treatments answer a site alike in all its seasons (site x treatment,
standard deviation 0.7), a season alike at all sites (season x treatment), both or neither. Each
set is analysed with environments alone, with the site named, and with site and season named (what
the reports do). Type I error is that of the treatment test under no effect, coverage that of the
95 % interval of one treatment minus the check, power that of the test where two treatments differ
from the rest by 1 and 1.5. The last two layouts lack some sites in the last season, so that only
two come back. Results go into site_terms.csv beside this file, cell by cell; a run that was stopped
goes on where it was.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

from trialkit.inference.design import make_design
from trialkit.inference.estimates import ModelResult
from trialkit.inference.mixed import fit_mixed

TABLE = Path(__file__).with_suffix(".csv")
BLOCKS, TREATMENTS = 4, 5
ENVIRONMENT_TREATMENT, REPEATED = 0.4, 0.7
EFFECTS = np.array([0.0, 0.0, 0.0, 1.0, 1.5])
TRUTHS = {
    "neither": (0.0, 0.0),
    "site": (REPEATED, 0.0),
    "season": (0.0, REPEATED),
    "both": (REPEATED, REPEATED),
}
LAYOUTS = ((3, 2), (3, 3), (5, 3))
LOST_SHARES = (0.0, 0.08)
NOT_RUN = ((3, 2, 1), (5, 2, 3))
JUDGED = ("type1", "coverage", "power", "site_in", "season_in")


@dataclass(frozen=True)
class Layout:
    """Sites x seasons with 4 blocks x 5 treatments, a share of the plots lost at random.

    not_run : how many sites had no trial in the last season, so that two are left that come back.
    """

    sites: int
    seasons: int
    lost: float
    not_run: int = 0

    @property
    def words(self) -> dict[str, object]:
        """The layout as the table shows it."""
        less = f" less {self.not_run}" if self.not_run else ""
        return {"layout": f"{self.sites} sites x {self.seasons} seasons{less}", "lost": self.lost}

    def draw(self, sds: tuple[float, float], draw: np.random.Generator) -> pd.DataFrame:
        """Return plots without treatment effects; sds are those of site and season x treatment."""
        shape = (self.sites, self.seasons, BLOCKS, TREATMENTS)
        s, y, b, t = (a.ravel() for a in np.indices(shape))
        value = draw.normal(size=self.sites)[s] + draw.normal(size=self.seasons)[y]
        value += 0.7 * draw.normal(size=shape[:3])[s, y, b] + draw.normal(size=len(s))
        value += sds[0] * draw.normal(size=(self.sites, TREATMENTS))[s, t]
        value += sds[1] * draw.normal(size=(self.seasons, TREATMENTS))[y, t]
        value += ENVIRONMENT_TREATMENT * draw.normal(size=(*shape[:2], TREATMENTS))[s, y, t]
        frame = pd.DataFrame({"y": value, "site": s, "season": y, "block": b, "treatment": t})
        frame["environment"] = frame["season"] * 10 + frame["site"]
        last = (self.seasons - 1) * 10 + self.sites
        frame = frame[frame["environment"] < last - self.not_run]
        number = round(self.lost * len(frame))
        return frame.drop(index=draw.choice(len(frame), number, replace=False))


def analyses(frame: pd.DataFrame) -> dict[str, ModelResult]:
    """Return the three analyses of one set of plots."""
    design = make_design(
        frame, response="y", treatment="treatment", block="block", environment="environment"
    )
    full = fit_mixed(design, site=frame["site"], season=frame["season"])
    named = full
    if "season:treatment" in full.components:
        named = fit_mixed(design, site=frame["site"])
    return {
        "environments alone": fit_mixed(design),
        "site named": named,
        "site and season named": full,
    }


def measure(layout: Layout, truth: str, sets: int, seed: int) -> pd.DataFrame:
    """Return one row a method: type1, coverage, power, and how often a term was in."""
    draw = np.random.default_rng(seed)
    found: dict[str, list[tuple[float, ...]]] = {}
    for _ in range(sets):
        for name, result in analyses(layout.draw(TRUTHS[truth], draw)).items():
            found.setdefault(name, []).append(_judge(result))
    return pd.DataFrame(
        [
            {**layout.words, "answered alike": truth, "method": name, "sets": sets}
            | dict(zip(JUDGED, np.mean(values, axis=0), strict=True))
            for name, values in found.items()
        ]
    )


def _judge(result: ModelResult) -> tuple[float, ...]:
    means = result.means
    contrast = np.eye(TREATMENTS)[1] - np.eye(TREATMENTS)[0]
    spread = np.sqrt(contrast @ means.covariance @ contrast)
    reach = stats.t.ppf(0.975, means.pair_df[1, 0]) * spread
    return (
        float(result.tests["p"].iloc[0] < 0.05),
        float(abs(contrast @ means.estimate) <= reach),
        float(_p_with_effects(result) < 0.05),
        float("site:treatment" in result.components),
        float("season:treatment" in result.components),
    )


def _p_with_effects(result: ModelResult) -> float:
    """Return p of the treatment test had every response its treatment's effect on top.

    The fit's variances and degrees of freedom do not depend on the treatments' effects.
    """
    test, means = result.tests.iloc[0], result.means
    rows = np.column_stack([np.ones(TREATMENTS - 1), -np.eye(TREATMENTS - 1)])

    def wald(values: np.ndarray) -> float:
        moved = rows @ values
        return float(moved @ np.linalg.solve(rows @ means.covariance @ rows.T, moved))

    statistic = test["F"] * wald(means.estimate + EFFECTS) / wald(means.estimate)
    return float(stats.f.sf(statistic, test["df1"], test["df2"]))


def cells() -> list[tuple[Layout, str]]:
    """Return every layout with every truth."""
    layouts = [Layout(*shape, lost) for shape in LAYOUTS for lost in LOST_SHARES]
    layouts += [Layout(sites, seasons, 0.0, less) for sites, seasons, less in NOT_RUN]
    return [(layout, truth) for layout in layouts for truth in TRUTHS]


def finished(sets: int) -> pd.DataFrame:
    """Return the rows of the table that rest on at least ``sets`` data sets."""
    if not TABLE.exists():
        return pd.DataFrame()
    table = pd.read_csv(TABLE)
    return table[table["sets"] >= sets]


def main() -> None:
    options = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    options.add_argument("--sets", type=int, default=1000)
    options.add_argument("--seed", type=int, default=7)
    given = options.parse_args()
    parts = []
    for number, (layout, truth) in enumerate(cells()):
        done = finished(given.sets)
        for name, value in {**layout.words, "answered alike": truth}.items():
            done = done[done[name] == value] if len(done) else done
        fresh = measure(layout, truth, given.sets, given.seed + number) if done.empty else done
        print(fresh.round(4).to_string(index=False, header=not parts), flush=True)
        parts.append(fresh)
        if done.empty:
            others = pd.read_csv(TABLE) if TABLE.exists() else pd.DataFrame()
            keys = ["layout", "lost", "answered alike", "method"]
            whole = pd.concat([others, fresh]).drop_duplicates(keys, keep="last")
            whole.round(4).to_csv(TABLE, index=False)


if __name__ == "__main__":
    main()
