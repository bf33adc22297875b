"""Pure statistics on a DataFrame; knows no study, no file and no figure."""

from trialkit.inference.analysis import Analysis
from trialkit.inference.analyze import analyze

__all__ = ["Analysis", "analyze"]
