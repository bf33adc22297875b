"""Columns of the tables that stand beside each report, as Table Schema fields."""

from typing import Final, NamedTuple

from trialkit.columns import ACROSS, VERDICTS
from trialkit.publish.archive.fields import Field, number, text, whole


class ReportTable(NamedTuple):
    """A table beside a report: what it is, what one row is, its fields."""

    about: str
    row_is: str
    fields: tuple[Field, ...]


_SCOPE: Final = (
    whole("season", "year of the season; 0 for the answer across all", required=True),
    text("site", f"id of the site; '{ACROSS}' for the answer across all", required=True),
    text("measure", "id of the measure, as in the table measures", required=True),
)
_MODEL_SCALE: Final = "on the scale of the model (its units, log ratio or log odds ratio)"
_READ_SCALE: Final = "on the scale that people read, named by effect_unit"

EFFECT_FIELDS: Final[tuple[Field, ...]] = (
    *_SCOPE,
    text("treatment", "id of the treatment", required=True),
    text("versus", "id of the treatment that it is compared with", required=True),
    number("estimate", f"difference from the check, {_MODEL_SCALE}"),
    number("se", "standard error of the estimate", minimum=0),
    number("df", "degrees of freedom of the interval"),
    number("low", "lower end of the confidence interval of the estimate"),
    number("high", "upper end of the confidence interval of the estimate"),
    number("p", "p value of the contrast by itself", minimum=0, maximum=1),
    number("p_adjusted", "p value within the family of contrasts", minimum=0, maximum=1),
    number("ratio", "treatment divided by check; of odds for shares", minimum=0),
    number("ratio_low", "lower end of the ratio's interval", minimum=0),
    number("ratio_high", "upper end of the ratio's interval", minimum=0),
    number("effect", f"difference from the check {_READ_SCALE}"),
    number("effect_low", f"lower end of its interval {_READ_SCALE}"),
    number("effect_high", f"upper end of its interval {_READ_SCALE}"),
    text("effect_unit", "percent (of the check), points (percentage points) or the measure's unit"),
    number("margin", f"smallest difference that would matter, {_READ_SCALE}", minimum=0),
    text("verdict", "what the whole interval says of the margin", enum=list(VERDICTS)),
    text("direction", "what the estimate means for a grower", enum=["better", "worse", "none"]),
    text(
        "bound", "which end of the interval the data give, where only one", enum=["upper", "lower"]
    ),
    number("hedges_g", "standardised difference, corrected for small samples"),
    number("g_low", "lower end of the interval of hedges_g"),
    number("g_high", "upper end of the interval of hedges_g"),
)
VALUE_FIELDS: Final[tuple[Field, ...]] = (
    *_SCOPE[:2],
    text("plot", "label of the plot", required=True),
    text("block", "block that the plot stands in", required=True),
    text("treatment", "id of the treatment", required=True),
    _SCOPE[2],
    number("value", "the number that is analysed and drawn, in the measure's SI unit"),
    number("events", "total counted, or numerator of a share"),
    number("trials", "denominator of a share"),
    number("exposure", "what a count was counted on, such as plants"),
    text("left_out", "why the value is not analysed; empty for one that is"),
)
DEPARTURE_FIELDS: Final[tuple[Field, ...]] = (
    *_SCOPE[:2],
    text("treatment", "id of the treatment that the rule is for; empty for all plots"),
    text("rule", "what should have happened, as study.toml says"),
    text("planned", "when it should have happened"),
    text("happened", "when it did, or that it did not"),
    number("days", "days too late (positive) or too early (negative)", unit="days"),
)
_NOW: Final = "with the corrections on record made"
_AS_TYPED: Final = "without the corrections on record"
MOVED_FIELDS: Final[tuple[Field, ...]] = (
    *_SCOPE,
    text("treatment", "id of the treatment", required=True),
    text("effect_unit", "percent (of the check), points (percentage points) or the measure's unit"),
    number("effect", f"difference from the check {_NOW}"),
    number("effect_low", f"lower end of its interval {_NOW}"),
    number("effect_high", f"upper end of its interval {_NOW}"),
    text("bound", "which end of the interval the data give, where only one"),
    text("verdict", f"verdict {_NOW}"),
    text("direction", f"what the estimate means for a grower {_NOW}"),
    number("as_typed_effect", f"difference from the check {_AS_TYPED}"),
    number("as_typed_low", f"lower end of its interval {_AS_TYPED}"),
    number("as_typed_high", f"upper end of its interval {_AS_TYPED}"),
    text("as_typed_bound", f"which end of the interval the data give {_AS_TYPED}"),
    text("as_typed_verdict", f"verdict {_AS_TYPED}"),
    text("as_typed_direction", f"what the estimate means for a grower {_AS_TYPED}"),
)
OF_REPORTS: Final = {
    "findings.csv": ReportTable(
        "Findings of the report: every treatment against the check",
        "a treatment against the check by one measure",
        EFFECT_FIELDS,
    ),
    "plot_values.csv": ReportTable(
        "Numbers that the report analyses",
        "the number that one plot has for one measure",
        VALUE_FIELDS,
    ),
    "plot_values_as_typed.csv": ReportTable(
        "Numbers that the report would analyse without the corrections on record",
        "the number that one plot has for one measure",
        VALUE_FIELDS,
    ),
    "departures.csv": ReportTable(
        "Where the trial went otherwise than the protocol says",
        "a departure from the protocol",
        DEPARTURE_FIELDS,
    ),
    "moved_by_corrections.csv": ReportTable(
        "Findings that the corrections on record moved",
        "a finding that corrections moved",
        MOVED_FIELDS,
    ),
}
