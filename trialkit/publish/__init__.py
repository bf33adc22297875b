"""Executed notebooks and their verdicts turned into self-contained pages.

``trialkit.publish.page`` stands apart: it loads nbconvert, which a render
with nothing due can spare.
"""

from trialkit.publish.frame import PageFacts
from trialkit.publish.index import ClaimLine, IndexEntry, VerdictLine, index_page

__all__ = ["ClaimLine", "IndexEntry", "PageFacts", "VerdictLine", "index_page"]
