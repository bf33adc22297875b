"""trialkit: from field sheets to honest reports on replicated vegetable-pest trials."""

__version__ = "0.1.0"
