"""The marked study and its two archives, made once for all tests of this folder."""

from pathlib import Path

import pytest

from tests.publish.archive.marked_study import MADE, marked_study
from trialkit.batch.archive import Archived, archive
from trialkit.batch.run import Request
from trialkit.study import Study, read_study


@pytest.fixture(scope="session")
def marked(tmp_path_factory: pytest.TempPathFactory, example_folder: Path) -> Study:
    """The study that is archived."""
    return read_study(marked_study(tmp_path_factory.mktemp("marked") / "study", example_folder))


@pytest.fixture(scope="session")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the reports."""
    return tmp_path_factory.mktemp("reports")


@pytest.fixture(scope="session")
def coded(marked: Study, out: Path) -> Archived:
    """Its archive to hand on."""
    return archive(Request(marked.folder, out, workers=1), MADE)


@pytest.fixture(scope="session")
def private(marked: Study, out: Path) -> Archived:
    """Its private archive."""
    return archive(Request(marked.folder, out, workers=1), MADE, private=True)
