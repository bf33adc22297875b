"""trialkit: from field sheets to honest reports on replicated vegetable-pest trials."""

from trialkit.inference import Analysis, analyze

__all__ = ["Analysis", "analyze"]
__version__ = "0.1.0"
