"""Known-truth data: an invented study drawn from the effects that its truth.toml states.

``python -m trialkit.simulate FOLDER`` reads FOLDER/study.toml and FOLDER/truth.toml and writes
FOLDER/data/, FOLDER/costs.csv and FOLDER/corrections.csv, the same bytes at every run.

The model, for a plot of treatment t, with E(t) the deviation of t in this site-season alone:

* beetles on one plant at a visit: negative binomial (k) with mean pressure x curve(day) x ratio(t)
  x exp(E(t) + block + plot); while a cover is on its own ratio holds;
* score: 100 (1 - exp(-rate x insect-days so far on the plot)) + error;
* fruit of a picking: Poisson, mean plants x fruit x level x yield(t) / fruit_weight(t) x share
  x exp(E(t) - variance/2 + block + plot); the shares of a plot's whole season add up to one and
  rise about 22 days after its first bloom, so bloom moves the early yield and not the total;
* a fruit is marketable, or culled for one cause with odds(cause) x odds ratio(t).

All in the units that people of the study type.
"""

from trialkit.simulate.draw import Draw, draw_site_season
from trialkit.simulate.mistakes import with_mistakes
from trialkit.simulate.sheets import last_day, simulate_site_season
from trialkit.simulate.truth import Truth, read_truth
from trialkit.simulate.write import write_study

__all__ = [
    "Draw",
    "Truth",
    "draw_site_season",
    "last_day",
    "read_truth",
    "simulate_site_season",
    "with_mistakes",
    "write_study",
]
