"""A study drafted from somebody's workbook: what was guessed is marked, with its evidence."""

from trialkit.intake.draft.drafting import Draft, draft_study

__all__ = ["Draft", "draft_study"]
