"""Where the notebooks and the example study are: in the wheel, or beside the package in a clone."""

from pathlib import Path

from trialkit.errors import TrialkitError

PACKAGE = Path(__file__).resolve().parents[1]
EXAMPLE = "eggplant_flea_beetle"


def notebooks_folder() -> Path:
    """Return the folder of the notebook templates."""
    return _installed("_notebooks", "notebooks")


def example_study() -> Path:
    """Return the folder of the invented example study."""
    return _installed("_data_examples", "data_examples") / EXAMPLE


def _installed(in_wheel: str, in_clone: str) -> Path:
    for folder in (PACKAGE / in_wheel, PACKAGE.parent / in_clone):
        if folder.is_dir():
            return folder
    raise TrialkitError(
        f"trialkit's own folder '{in_clone}' is not where it should be ({PACKAGE}). "
        "Install trialkit again."
    )
