"""The command line: reads what was asked, calls one thing, prints what it says.

Heavy rooms are imported inside the commands, so that help and faults come at once.
"""

from trialkit.cli import (  # each adds its commands
    analysing,
    archiving,
    checking,
    planning,
    rendering,
    starting,
)
from trialkit.cli.app import app
from trialkit.cli.start import main
from trialkit.errors import TrialkitError

__all__ = [
    "TrialkitError",
    "analysing",
    "app",
    "archiving",
    "checking",
    "main",
    "planning",
    "rendering",
    "starting",
]
