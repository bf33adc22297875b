"""A small study to plan, with any layout."""

from pathlib import Path

import pytest

from trialkit.study import Study, read_study

EXAMPLE = Path(__file__).parents[2] / "data_examples" / "eggplant_flea_beetle"


@pytest.fixture
def planned(tmp_path):
    """Return a maker of the example's study in an empty folder, with ``[layout]`` as given."""

    def make(layout: str = "", more: str = "") -> Study:
        text = (EXAMPLE / "study.toml").read_text(encoding="utf-8")
        before = text.split("\n[layout]")[0] if "\n[layout]" in text else text
        (tmp_path / "study.toml").write_text(f"{before}\n[layout]\n{layout}\n{more}", "utf-8")
        return read_study(tmp_path)

    return make


@pytest.fixture(scope="session")
def example() -> Study:
    return read_study(EXAMPLE)
