"""How the trial is laid out and walked: the optional ``[layout]`` part of study.toml.

Lengths of the field are in the study's own unit of distance (ft or m). Everything has a default, so
that a study without this part can still be planned; defaults are values from memory, no source.
"""

import datetime as dt
from typing import Literal

from pydantic import Field, model_validator

from trialkit.study.parts import Identifier, Part

Design = Literal["completely_randomised", "complete_blocks", "latin_square", "split_plot"]
Paper = Literal["letter", "a4"]
Constraint = Literal["not_same_position", "not_beside_itself", "spread"]


class Planting(Part):
    """When a site is to be planted in a season."""

    season: int
    site: Identifier
    date: dt.date


class LayoutCosts(Part):
    """What more of the trial costs, in the study's currency."""

    plot: float = Field(default=0, ge=0)
    site: float = Field(default=0, ge=0)
    season: float = Field(default=0, ge=0)


class Assumption(Part):
    """What power is worked out from for one measure; an entry left out is taken from ``source``.

    ``difference`` is the change against the check that must be found, in percent of the check's
    mean (of the odds, for percentages). Standard deviations are in percent of the check's mean
    (100 x that of the logarithm, for counts and percentages): ``plot_sd`` between plots of a block
    (within a whole plot of a split plot, ``whole_plot_sd`` between whole plots),
    ``environment_sd`` of a treatment's own deviation between site-seasons, ``site_sd`` and
    ``season_sd`` of the part of it that comes back at a site or in a season.
    Counts need ``check_mean`` a plot and ``overdispersion`` (negative binomial k); percentages need
    ``check_mean`` in percent, ``trials`` a plot and ``overdispersion`` (correlation in a plot).
    """

    measure: Identifier
    difference: float = Field(default=30, gt=0, lt=100)
    power: float = Field(default=0.8, gt=0, lt=1)
    plot_sd: float | None = Field(default=None, gt=0)
    whole_plot_sd: float = Field(default=0, ge=0)
    environment_sd: float = Field(default=0, ge=0)
    site_sd: float = Field(default=0, ge=0)
    season_sd: float = Field(default=0, ge=0)
    check_mean: float | None = Field(default=None, gt=0)
    overdispersion: float | None = Field(default=None, gt=0)
    trials: int | None = Field(default=None, ge=1)
    source: str = "value from memory, no source"


class Reach(Part):
    """The largest trial that is within reach."""

    blocks: int = Field(default=8, ge=2)
    sites: int = Field(default=4, ge=1)
    seasons: int = Field(default=3, ge=1)


class Layout(Part):
    """Design, field, visits and costs of the trial.

    ``whole_plots`` (split plot only) lists the treatments of each level of the whole-plot factor.
    ``blocks_at`` overrides ``blocks`` at single sites. ``north`` is the compass bearing that the
    top of the map points to, in degrees; ``paper`` what is printed on. Days count from planting;
    ``expected_days`` says when an event such as first_bloom is expected. ``past`` is the folder of
    an earlier study, as seen from this one, whose finished site-seasons tell how much plots vary.
    """

    design: Design = "complete_blocks"
    blocks: int = Field(default=4, ge=1)
    blocks_at: dict[str, int] = Field(default_factory=dict)
    whole_plots: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    constraints: tuple[Constraint, ...] = ()
    plot_length: float = Field(default=24, gt=0)
    plot_width: float = Field(default=5, gt=0)
    alley: float = Field(default=5, ge=0)
    gap: float = Field(default=0, ge=0)
    guard: float = Field(default=5, ge=0)
    field_length: float | None = Field(default=None, gt=0)
    field_width: float | None = Field(default=None, gt=0)
    north: float = Field(default=0, ge=0, lt=360)
    paper: Paper | None = None
    plants: int = Field(default=12, ge=1)
    plants_scouted: int = Field(default=5, ge=1)
    scouting_days: tuple[int, ...] = tuple(range(5, 69, 7))
    picking_days: tuple[int, ...] = tuple(range(62, 113, 7))
    expected_days: dict[str, int] = Field(default_factory=dict)
    plantings: tuple[Planting, ...] = ()
    costs: LayoutCosts = LayoutCosts()
    reach: Reach = Reach()
    assumptions: tuple[Assumption, ...] = ()
    past: str = ""

    @model_validator(mode="after")
    def _is_possible(self) -> "Layout":
        if self.plants_scouted > self.plants:
            raise ValueError(
                f"plants_scouted ({self.plants_scouted}) is more than the plants of a plot "
                f"({self.plants}); scout fewer"
            )
        few = [site for site, blocks in self.blocks_at.items() if blocks < 1]
        if few:
            raise ValueError(f"blocks_at gives '{few[0]}' no block; a site needs at least one")
        if (self.design == "split_plot") != bool(self.whole_plots):
            raise ValueError("whole_plots and design = 'split_plot' need each other")
        return self

    def blocks_of(self, site: str) -> int:
        """Blocks at a site."""
        return self.blocks_at.get(site, self.blocks)

    def planting(self, season: int, site: str) -> dt.date | None:
        """Planned planting date, None where study.toml has none."""
        dates = (p.date for p in self.plantings if (p.season, p.site) == (season, site))
        return next(dates, None)
