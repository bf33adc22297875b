"""A clean simulated site-season, read once, to plant single faults into."""

from pathlib import Path

import pytest

from trialkit.intake import read_site_season
from trialkit.intake.suspicion import suspicions
from trialkit.study import read_study

EXAMPLE = Path(__file__).parents[3] / "data_examples" / "eggplant_flea_beetle"


@pytest.fixture(scope="session")
def clean():
    return dict(read_site_season(read_study(EXAMPLE), 2024, "alder_bench").tables)


@pytest.fixture
def asked():
    """Questions of tables as (table, code, rows)."""

    def ask(tables):
        return [(table, p.code, list(p.rows)) for table, p in suspicions(tables)]

    return ask
