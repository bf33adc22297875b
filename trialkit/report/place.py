"""Finding the study that a notebook or a command names."""

from pathlib import Path

from trialkit.study import STUDY_FILE, Study, read_study


def locate(study: str | Path) -> Path:
    """Return the study folder as given, or one folder up where a notebook runs in its own folder.

    The path comes back as given when neither exists, so that the error names what was typed.
    """
    given = Path(study)
    raised = Path("..") / given
    if not (given / STUDY_FILE).is_file() and (raised / STUDY_FILE).is_file():
        return raised
    return given


def open_study(study: str | Path) -> Study:
    """Read the study description at ``study``; raises StudyError in words."""
    return read_study(locate(study))
