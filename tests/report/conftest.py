"""The example's reports as they hand on what the final report needs, made once for this room."""

from pathlib import Path

import pytest

import trialkit as tk

EXAMPLE = Path(__file__).resolve().parents[2] / "data_examples" / "eggplant_flea_beetle"


def hand_on(study: Path, reports: Path) -> Path:
    """Write what every site-season's report hands on, without making its page."""
    for folder in sorted(path for path in (study / "data").glob("*/*") if path.is_dir()):
        out = reports / folder.parent.name / folder.name
        out.mkdir(parents=True)
        tk.open_report(study, int(folder.parent.name), folder.name).end_matter(str(out))
    return reports


@pytest.fixture(scope="session")
def handed_on(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return hand_on(EXAMPLE, tmp_path_factory.mktemp("handed-on"))
