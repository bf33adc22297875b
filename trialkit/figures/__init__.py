"""Pictures of findings and measures, each with its alternative text, caption and numbers."""

from trialkit.figures.below import below_each_other
from trialkit.figures.effects import effects
from trialkit.figures.forest import forest
from trialkit.figures.picture import Picture
from trialkit.figures.plot_map import plot_map
from trialkit.figures.pressure import pressure
from trialkit.figures.price_cost_grid import price_cost_grid
from trialkit.figures.season_curve import season_curve
from trialkit.figures.timeline import timeline
from trialkit.figures.versions import versions
from trialkit.figures.weather_strip import weather_strip
from trialkit.figures.yield_and_culls import yield_and_culls

__all__ = [
    "Picture",
    "below_each_other",
    "effects",
    "forest",
    "plot_map",
    "pressure",
    "price_cost_grid",
    "season_curve",
    "timeline",
    "versions",
    "weather_strip",
    "yield_and_culls",
]
