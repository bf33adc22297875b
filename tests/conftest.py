"""Fixtures that every room's tests may use."""

from pathlib import Path

import pytest

from trialkit.study import Study, read_study

EXAMPLE = Path(__file__).parent.parent / "data_examples" / "eggplant_flea_beetle"


@pytest.fixture(scope="session")
def example_folder() -> Path:
    return EXAMPLE


@pytest.fixture(scope="session")
def example_study() -> Study:
    return read_study(EXAMPLE)
