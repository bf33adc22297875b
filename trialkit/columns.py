"""Names, units and types of every column that passes from one room to the next.

Canonical units are SI: kg, m², mm, °C. What a person types or reads may be in US units; conversion
happens at the two edges only (intake on the way in; figures, narrative and publish on the way out).
"""

from typing import Final

# The tables of a site-season, in the order in which they are read and explained.
TABLES: Final = ("plots", "scouting", "ratings", "harvest", "fruit_sizes", "events", "weather")
REQUIRED_TABLES: Final = ("plots",)

# Quantities that a column is measured in; study.units turns them into units.
QUANTITY_OF_COLUMN: Final = {
    ("plots", "area"): "area",
    ("harvest", "weight"): "weight",
    ("fruit_sizes", "length"): "length",
    ("fruit_sizes", "diameter"): "length",
    ("weather", "tmin"): "temperature",
    ("weather", "tmax"): "temperature",
    ("weather", "rain"): "rain",
}

# measures: one row per plot and measure.
#   value    the number that is drawn, in the measure's canonical unit (percent for proportions)
#   events, trials   numerator and denominator of a proportion, else missing
#   events, exposure   total counted and what it was counted on (plants examined, plants of the
#            plot) for a count, so that value = events / exposure; an area such as insect-days has
#            a value only
#   left_out reason why the value is not analysed, else an empty string
PLOT_VALUES: Final = (
    "season",
    "site",
    "plot",
    "block",
    "treatment",
    "measure",
    "value",
    "events",
    "trials",
    "exposure",
    "left_out",
)

# measures: mean count per plant and visit, for the season curve.
CURVE: Final = ("date", "plot", "block", "treatment", "organism", "stage", "plants", "mean_count")

# measures: culls and marketable fruit per plot, for the stacked figure.
GRADES: Final = ("plot", "block", "treatment", "grade", "cull_cause", "fruit", "weight")

# findings: one row per treatment mean of a measure in a scope (a site-season, or across).
MEANS: Final = (
    "season",
    "site",
    "measure",
    "treatment",
    "mean",
    "se",
    "df",
    "low",
    "high",
    "letters",
    "n",
)

# findings: one row per contrast of a treatment against the untreated check.
#   estimate, se, low, high   on the scale of the model (units, log ratio, log odds ratio)
#   effect, effect_low, effect_high   on the scale that people read, named by effect_unit:
#       "percent" (change against the check), "points" (percentage points) or the measure's unit
#   margin   smallest worthwhile difference on the scale of effect, always positive
#   bound    "upper" or "lower" where the data give only one end of effect, else an empty string
#   direction  "better", "worse" or "none": what the estimate means for a grower
EFFECTS: Final = (
    "season",
    "site",
    "measure",
    "treatment",
    "versus",
    "estimate",
    "se",
    "df",
    "low",
    "high",
    "p",
    "p_adjusted",
    "ratio",
    "ratio_low",
    "ratio_high",
    "effect",
    "effect_low",
    "effect_high",
    "effect_unit",
    "margin",
    "verdict",
    "direction",
    "bound",
    "hedges_g",
    "g_low",
    "g_high",
)

# findings: one row per thing that is not in an analysis, with the reason.
LEFT_OUT: Final = ("season", "site", "measure", "plot", "reason")

# findings: one row per departure from the protocol.
DEVIATIONS: Final = ("season", "site", "treatment", "rule", "planned", "happened", "days")

# findings: one row per contrast that the corrections on record moved; as_typed_... is what it would
#   be without them, its verdict "no answer" where the sheets as typed give none.
MOVED: Final = (
    "season",
    "site",
    "measure",
    "treatment",
    "effect_unit",
    "effect",
    "effect_low",
    "effect_high",
    "bound",
    "verdict",
    "direction",
    "as_typed_effect",
    "as_typed_low",
    "as_typed_high",
    "as_typed_bound",
    "as_typed_verdict",
    "as_typed_direction",
)

VERDICTS: Final = ("worthwhile", "some effect", "no worthwhile difference", "not settled")
ACROSS: Final = "across"
