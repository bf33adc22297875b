"""Measures: what study.toml declares, one number per plot each, with margin and direction."""

from typing import Final, Literal, NamedTuple

from pydantic import Field, model_validator

from trialkit.study.parts import Identifier, Part

Family = Literal["normal", "lognormal", "count", "proportion", "ordinal"]
Better = Literal["lower", "higher"]


class Kind(NamedTuple):
    """What a kind of measure needs, how it is analysed and in what quantity it is counted."""

    family: Family
    quantity: str
    needs: tuple[str, ...]
    better: Better


# quantity: a key of study.units, or the unit as printed where SI and US agree.
KINDS: Final[dict[str, Kind]] = {
    "insect_days": Kind("count", "insect-days per plant", ("organism",), "lower"),
    "season_mean": Kind("count", "per plant", ("organism",), "lower"),
    "peak_count": Kind("count", "per plant", ("organism",), "lower"),
    "days_to_threshold": Kind("normal", "days", ("organism", "threshold"), "higher"),
    "percent_infested": Kind("proportion", "%", ("organism",), "lower"),
    "damage_curve": Kind("normal", "score-days", ("rating",), "lower"),
    "final_score": Kind("ordinal", "score", ("rating",), "lower"),
    "marketable_yield": Kind("normal", "yield_area", (), "higher"),
    "marketable_per_plant": Kind("normal", "weight_plant", (), "higher"),
    "early_yield": Kind("normal", "yield_area", ("pickings",), "higher"),
    "fruit_number": Kind("count", "fruit per plant", (), "higher"),
    "mean_fruit_weight": Kind("normal", "weight_fruit", (), "higher"),
    "target_size_share": Kind("proportion", "%", ("size_column", "size_from", "size_to"), "higher"),
    "cull_percent": Kind("proportion", "%", (), "lower"),
    "days_to_first_bloom": Kind("normal", "days", (), "lower"),
    "days_to_half_bloom": Kind("normal", "days", (), "lower"),
}


class Measure(Part):
    """One measure of the study; options that its kind does not use stay empty.

    ``margin`` is the smallest worthwhile difference against the check: percent of the check's
    mean, percentage points, or the measure's own unit as people of the study read it.
    """

    id: Identifier
    kind: str
    name: str
    margin: float = Field(gt=0)
    margin_unit: Literal["percent", "points", "units"] = "percent"
    better: Better | None = None
    primary: bool = False
    organism: str | None = None
    stage: str | None = None
    rating: str | None = None
    threshold: float | None = Field(default=None, gt=0)
    cull_cause: str | None = None
    pickings: int | None = Field(default=None, ge=1)
    size_column: Literal["length", "diameter"] | None = None
    size_from: float | None = Field(default=None, gt=0)
    size_to: float | None = Field(default=None, gt=0)

    @model_validator(mode="after")
    def _has_what_its_kind_needs(self) -> "Measure":
        if self.kind not in KINDS:
            raise ValueError(f"unknown kind '{self.kind}'; known kinds are {', '.join(KINDS)}")
        missing = [name for name in KINDS[self.kind].needs if getattr(self, name) is None]
        if missing:
            raise ValueError(f"a measure of kind '{self.kind}' also needs {', '.join(missing)}")
        if self.margin_unit == "points" and self.family != "proportion":
            raise ValueError("margin_unit 'points' is for percentages; use 'percent' or 'units'")
        return self

    @property
    def family(self) -> Family:
        """How the measure is analysed."""
        return KINDS[self.kind].family

    @property
    def quantity(self) -> str:
        """Quantity of the value: a key of study.units or the printed unit itself."""
        return KINDS[self.kind].quantity

    @property
    def lower_is_better(self) -> bool:
        """True where a grower wants the number down."""
        return (self.better or KINDS[self.kind].better) == "lower"
