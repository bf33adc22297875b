"""trialkit: from field sheets to honest reports on replicated vegetable-pest trials.

Names load when first used, so that a command which needs one room does not wait for the others.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

__version__ = "0.1.0"

if TYPE_CHECKING:
    from trialkit.inference import Analysis, analyze
    from trialkit.report.across import open_across
    from trialkit.report.final import open_final
    from trialkit.report.plan import open_plan
    from trialkit.report.site_season import open_report

_HOMES: Final = {
    "Analysis": "trialkit.inference",
    "analyze": "trialkit.inference",
    "open_across": "trialkit.report.across",
    "open_final": "trialkit.report.final",
    "open_plan": "trialkit.report.plan",
    "open_report": "trialkit.report.site_season",
}

__all__ = [
    "Analysis",
    "__version__",
    "analyze",
    "open_across",
    "open_final",
    "open_plan",
    "open_report",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'trialkit' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)
