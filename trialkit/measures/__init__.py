"""From tidy tables of a site-season to one number per plot and measure."""

from trialkit.measures.complete import LastComplete, last_complete
from trialkit.measures.curves import area_under_progress_curve, insect_days
from trialkit.measures.degree_days import simple_average, single_sine
from trialkit.measures.flowering import bloom, bloom_spans
from trialkit.measures.per_plot import EVERY_PLOT, left_out, notes, plot_values
from trialkit.measures.protocol import deviations
from trialkit.measures.rain import rain_normals
from trialkit.measures.reduction import abbott, henderson_tilton
from trialkit.measures.season_frames import curve, grades
from trialkit.measures.steady import SteadyTables
from trialkit.measures.timeline import timeline
from trialkit.measures.usual_heat import usual_degree_days
from trialkit.measures.weather import WeatherSummary, hot_limit, weather_summary, wet_limit

__all__ = [
    "EVERY_PLOT",
    "LastComplete",
    "SteadyTables",
    "WeatherSummary",
    "abbott",
    "area_under_progress_curve",
    "bloom",
    "bloom_spans",
    "curve",
    "deviations",
    "grades",
    "henderson_tilton",
    "hot_limit",
    "insect_days",
    "last_complete",
    "left_out",
    "notes",
    "plot_values",
    "rain_normals",
    "simple_average",
    "single_sine",
    "timeline",
    "usual_degree_days",
    "weather_summary",
    "wet_limit",
]
