"""One report made and thrown away in the warm server, so that what is computed once is there.

Table schemas and whatever else is made when first used cost every fresh kernel a tenth of a second;
where many kernels follow, one report beforehand pays for itself.
"""

import gc
import importlib
from contextlib import suppress

from trialkit.batch import preload
from trialkit.batch.resources import example_study
from trialkit.study import read_study


def warm_up() -> None:
    """Make the first report of the example study and show everything in it."""
    trialkit = importlib.import_module("trialkit")
    study = example_study()
    season, site = read_study(study).site_seasons()[0]
    with preload.as_in_a_kernel():
        report = trialkit.open_report(study, season, site)
        for name in dir(type(report)):
            if name.endswith("_figure") or name in ("as_run", "results", "end_matter"):
                getattr(report, name)()._repr_mimebundle_()


# It only saves time: whatever is wrong here is told by the first report that meets it.
with suppress(Exception), preload.ending_with_parent():
    warm_up()
gc.collect()
gc.freeze()
