"""What is known of a study besides study.toml when it is planned."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from trialkit.planning.outlook import SoFar
from trialkit.study import Assumption


@dataclass(frozen=True)
class Seen:
    """What a site-season has so far: plots as people type them, events, and counts on plants."""

    plots: pd.DataFrame
    events: pd.DataFrame
    scouting: pd.DataFrame


@dataclass(frozen=True)
class Known:
    """Everything known already; all of it may be empty for a study that has not begun.

    seen        : (season, site) -> what was typed so far.
    contrasts   : the contrasts over site-seasons so far.
    assumptions : measure -> spread found in the study's own data.
    """

    seen: Mapping[tuple[int, str], Seen] = field(default_factory=dict)
    contrasts: Sequence[SoFar] = ()
    assumptions: Mapping[str, Assumption] = field(default_factory=dict)
