"""Studies of any size for benchmarks: the example's plan and truth at many invented site-seasons.

    PYTHONPATH=. python tests/benchmarks/scaled_study.py FOLDER SITES SEASONS BLOCKS

The treatments, measures and effects are the example's; sites are site_1, site_2, ... and seasons
end in 2024. Pressure and level of each site-season are drawn once from the seed.
"""

import sys
from pathlib import Path

import numpy as np

from trialkit.simulate import write_study

EXAMPLE = Path(__file__).parents[2] / "data_examples" / "eggplant_flea_beetle"


def scaled_study(folder: Path, sites: int, seasons: int, blocks: int = 4, seed: int = 1) -> Path:
    """Write study.toml, truth.toml, data/ and costs.csv of a study of this size; return folder."""
    folder.mkdir(parents=True, exist_ok=True)
    years = range(2025 - seasons, 2025)
    places = [(year, f"site_{number + 1}") for year in years for number in range(sites)]
    (folder / "study.toml").write_text(_plan(sites, years), encoding="utf-8")
    (folder / "truth.toml").write_text(_truth(places, blocks, seed), encoding="utf-8")
    write_study(folder)
    return folder


def _plan(sites: int, years: range) -> str:
    text = (EXAMPLE / "study.toml").read_text(encoding="utf-8")
    before, after = text.split("# --- Sites")[0], text.split("# --- What is counted")[1]
    # The decision on record is about a site that this study does not have.
    rules, decided = after.split("[[protocol_decisions]]")
    after = rules + decided[decided.index("# --- Heat") :]
    places = "".join(
        f'[[sites]]\nid = "site_{n + 1}"\nname = "Site {n + 1}"\n'
        "normal_rain = { 6 = 3.9, 7 = 4.1 }\n"
        for n in range(sites)
    )
    times = "".join(
        f"[[seasons]]\nyear = {year}\nfirst_date = {year}-04-15\nlast_date = {year}-09-30\n"
        for year in years
    )
    return f"{before}{places}{times}# --- What is counted{after}"


def _truth(places: list[tuple[int, str]], blocks: int, seed: int) -> str:
    text = (EXAMPLE / "truth.toml").read_text(encoding="utf-8")
    start, costs = text.index("[[site_seasons]]"), text.index("# --- Costs")
    draws = np.exp(np.random.default_rng(seed).normal(0, [0.4, 0.15], (len(places), 2)))
    entries = "".join(
        f'[[site_seasons]]\nseason = {year}\nsite = "{site}"\ntransplanted = {year}-05-25\n'
        f"blocks = {blocks}\npressure = {pressure:.3f}\nlevel = {level:.3f}\n"
        for (year, site), (pressure, level) in zip(places, draws, strict=True)
    )
    return text[:start] + entries + text[costs:]


if __name__ == "__main__":
    scaled_study(Path(sys.argv[1]), *map(int, sys.argv[2:5]))
