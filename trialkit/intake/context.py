"""What a check may know beyond the sheet it looks at."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from trialkit.intake.cells import Typed
from trialkit.intake.corrections import Corrections
from trialkit.intake.problems import Problem
from trialkit.study import Season, Study


@dataclass(frozen=True)
class Layout:
    """The plots as typed: what other tables are held against.

    ``treatment`` leads from every plot to its treatment, ``blocked`` names plots that an error in
    the layout keeps out, ``lost`` leads from lost plots to the reason.
    """

    treatment: dict[str, str]
    blocked: frozenset[str]
    lost: dict[str, str]


@dataclass(frozen=True)
class Context:
    """What a check may ask: the study, the season, the layout where it can be used, corrections."""

    study: Study
    season: Season | None
    layout: Layout | None
    corrections: Corrections = field(default_factory=Corrections)


Check = Callable[[Typed, Context], Iterator[Problem]]


def rows_told(typed: Typed, column: str) -> list[int]:
    """Return rows of which a cell in ``column`` has been told to be wrong."""
    return [row for p in typed.problems if p.column == column and p.blocks for row in p.rows]
