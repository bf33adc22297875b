"""``python -m trialkit.cli`` is the same as ``trialkit``."""

from trialkit.cli import main

main()
