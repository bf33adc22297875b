"""The narrative as the notebook's cells show it: filled in, with every name that it may quote."""

import json
from pathlib import Path
from typing import Final

from trialkit.errors import TrialkitError
from trialkit.narrative.facts import Facts
from trialkit.narrative.fill import fill
from trialkit.narrative.shown import preview
from trialkit.narrative.tables import Words

NOTEBOOK: Final = "report.ipynb"
FACTS: Final = "facts.json"


def filled_words(facts: Facts) -> Words:
    """The words of the notebook saved in this folder, filled in; else the default words.

    A rendered report runs in its own folder, so that rerunning the cell shows an edit once saved.
    """
    path = Path(NOTEBOOK)
    if path.is_file():
        return Words(preview(_notebook(path), facts))
    return Words("\n\n".join(fill(text, facts).markdown for text in facts.sentences.values()))


def write_facts(facts: Facts, folder: Path) -> None:
    """Write what the text may quote and its claims are judged by into a folder that exists."""
    (folder / FACTS).write_bytes(facts.to_bytes())


def _notebook(path: Path) -> dict:
    try:
        return dict(json.loads(path.read_bytes()))
    except ValueError:
        told = f"{path} is not saved whole. Save the notebook and run the cell again."
        raise TrialkitError(told) from None
