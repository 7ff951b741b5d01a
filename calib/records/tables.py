"""The tables (ISO/IEC 17025:2017, 6.4.13 and 7.5).

Values are kept as typed, as text: `1.10` stays `1.10`. The database refuses UPDATE and DELETE on every table here, and by CHECK
constraints what no procedure may write. SQLModel does not validate a table's rows: the procedures do, before they make one.
"""

import math
from typing import ClassVar

from sqlalchemy import BigInteger, CheckConstraint, Index, Integer, Table, UniqueConstraint, text
from sqlmodel import Field, SQLModel

NET = "net"

BY_THE_RULE = "rule"

INTERVAL_CHANGE = "interval change"


class _Row(SQLModel):
    """A row of a table here. Nothing validates rows, so what would do so is not built: the tables are imported sooner."""

    model_config = {"defer_build": True}


def _one_of(column: str, *words: str) -> CheckConstraint:
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_is_known")


def _above_zero(*columns: str) -> tuple[CheckConstraint, ...]:
    return tuple(CheckConstraint(f"CAST({one} AS REAL) > 0", name=f"{one}_above_0") for one in columns)


def _not_negative(*columns: str) -> tuple[CheckConstraint, ...]:
    return tuple(CheckConstraint(f"CAST({one} AS REAL) >= 0", name=f"{one}_not_negative") for one in columns)


def _not_blank(*columns: str) -> tuple[CheckConstraint, ...]:
    return tuple(CheckConstraint(f"length({one}) > 0", name=f"{one}_not_blank") for one in columns)


def _day(*columns: str) -> tuple[CheckConstraint, ...]:
    return tuple(CheckConstraint(f"{one} LIKE '____-__-__'", name=f"{one}_is_a_day") for one in columns)


def _one_style_of_tolerance() -> CheckConstraint:
    """A tolerance is equal on both sides, or each side in percent, or limits in the flow's unit: one of the three."""
    equal = "tolerance_percent IS NOT NULL"
    sides = "(tolerance_minus_percent IS NOT NULL OR tolerance_plus_percent IS NOT NULL)"
    flows = "(minimum_flow IS NOT NULL OR maximum_flow IS NOT NULL)"
    return CheckConstraint(
        f"NOT ({equal} AND {sides}) AND NOT ({equal} AND {flows}) AND NOT ({sides} AND {flows})",
        name="one_style_of_tolerance",
    )


_LIMITS = ("tolerance_minus_percent", "tolerance_plus_percent", "minimum_flow", "maximum_flow")


class _Limits(_Row):
    """Limits of a flow that are unequal, on one side, or in the flow's own unit, instead of `tolerance_percent`."""

    tolerance_minus_percent: str | None = None
    tolerance_plus_percent: str | None = None
    minimum_flow: str | None = None
    maximum_flow: str | None = None


def _unique(name: str, *columns: str) -> Index:
    """Rows of which one counts at a time: a key with an absent revision, or cause, taken as the first."""
    return Index(name, *(text(one) if "(" in one else one for one in columns), unique=True)


def _moment(*columns: str) -> tuple[CheckConstraint, ...]:
    return tuple(CheckConstraint(f"{one} LIKE '____-__-__T__:__%'", name=f"{one}_is_a_time") for one in columns)


DENSITY_EFFECTS = ("thermal", "vane friction", "velocity pressure")
PATTERNS = ("spot grid", "sweep", "centre", "traverse", "hood")
SHAPES = ("rectangular", "round", "flat-oval")
OUTLET, DUCT = "outlet", "duct"
PLACES = (OUTLET, DUCT)
SERVICES = ("supply", "return", "exhaust")
THIS_OUTLET, THIS_TYPE = "this outlet", "this type"
SCOPES = (THIS_OUTLET, THIS_TYPE)
TRAVERSE_RULES = ("equal-area", "log-Tchebycheff", "log-linear")
EVENT_KINDS = (
    "suspension", "release", "damage", "repair", "adjustment", "move", "return", "retirement", "interval change",
)  # fmt: skip
CHECK_KINDS = ("zero", "comparison", "check standard")
CURVE_SHAPES = ("polynomial", "proportional", "king", "power")
CONDITION_QUANTITIES = (
    "temperature", "barometric pressure", "static pressure", "relative humidity", "wet-bulb temperature", "altitude",
)  # fmt: skip
STAGES = ("before adjustment", "after adjustment", "repeat")
_DECISION_RULES = ("simple", "guarded", "guarded non-binary")
REVIEW_CAUSES = (
    "as found", "check", "withdrawal", "supersession", "reference standard", "factor", "damage", "recorded later",
)  # fmt: skip
HOLDING_CURVES = ("as before", "as found", "as found from", "widened")
PHASES = ("as-found", "as-left")
ATTACHED_TO = ("instrument", "calibration", "reading", "outlet", "job", "competence")
_HOUSE_RULES = ("one person may accept", "open review closes the gate", "retention in years")
RETRACTABLE = (
    "reading", "refusal", "condition", "intermediate_check", "event", "pairing", "attached", "system_design", "room",
    "competence",
)  # fmt: skip


def _of_instrument() -> tuple[CheckConstraint, ...]:
    return (
        *_above_zero("resolution", "interval_months"),
        *_not_negative("mpe_percent", "mpe_absolute", "repeatability", "stability_percent", "stability_absolute"),
        CheckConstraint("CAST(range_low AS REAL) < CAST(range_high AS REAL)", name="range_rises"),
        _one_of("density_effect", *DENSITY_EFFECTS),
        *_above_zero("reference_pressure_kPa"),
        CheckConstraint("CAST(resistance_ratio AS REAL) > 1", name="resistance_ratio_above_1"),
        *_not_negative("resistance_ratio_standard_uncertainty"),
        _one_of("decision_rule", *_DECISION_RULES),
        _one_of("judged", "indication", "corrected value"),
    )


class _Tagged(_Row):
    id: int | None = Field(default=None, primary_key=True)
    tag: str = Field(unique=True)


class _InstrumentAsTyped(_Row):
    """What is typed of an instrument, at first and whenever it is amended."""

    kind: str
    maker: str
    model: str
    serial: str
    quantity: str
    range_low: str
    range_high: str
    unit: str
    resolution: str
    mpe_percent: str | None = None  # of the indication
    mpe_absolute: str | None = None
    interval_months: int
    location: str | None = None
    repeatability: str | None = None  # declared standard deviation of one indication
    stability_percent: str | None = None  # limits of change since calibration, instead of the maximum permissible error
    stability_absolute: str | None = None
    stability_basis: str | None = None
    custodian: str | None = None
    firmware: str | None = None
    check_interval_days: int | None = None  # absent: no intermediate check is required
    indication_quantity: str | None = None  # what it indicates where that is another quantity: a voltage, a pressure
    density_effect: str | None = None  # how its velocity depends on the air's density; absent: it does not
    reference_temperature_degC: str | None = None  # noqa: N815 (reference state of a thermal anemometer)
    reference_pressure_kPa: str | None = None  # noqa: N815
    resistance_ratio: str | None = None  # of a hood: its resistance when throttled over that when open
    resistance_ratio_standard_uncertainty: str | None = None

    criterion: str | None = None  # by which its certificates are accepted; absent: its maximum permissible error
    decision_rule: str | None = None  # of that acceptance
    judged: str | None = None  # what is accepted: the indication, or the corrected value

    @property
    def indicated(self) -> str:
        """Quantity that it indicates: the one it measures, unless another is on record."""
        return self.indication_quantity or self.quantity


class Instrument(_InstrumentAsTyped, _Tagged, table=True):
    """A measuring instrument of the register (6.4.13 a to c)."""

    __tablename__: ClassVar[str] = "instrument"
    __table_args__ = (*_not_blank("tag"), *_of_instrument())


class InstrumentRevision(_InstrumentAsTyped, table=True):
    """An instrument as it was amended: the whole of it, with the reason. The latest revision counts."""

    __tablename__: ClassVar[str] = "instrument_revision"
    __table_args__ = (
        UniqueConstraint("instrument_id", "revision"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *_moment("holds_from"),
        *_not_blank("reason"),
        *_of_instrument(),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    revision: int  # the instrument as first typed is revision 1
    holds_from: str | None = None  # absent: what was typed before was always wrong
    reason: str


class Calibration(_Row, table=True):
    """A calibration as its certificate states it (6.4.13 e)."""

    __tablename__: ClassVar[str] = "calibration"
    __table_args__ = (
        UniqueConstraint("instrument_id", "certificate"),
        UniqueConstraint("laboratory", "certificate"),
        *_not_blank("certificate", "laboratory"),
        *_day("calibrated_on", "due_on", "received_on", "issued_on"),
        _one_of("adjustment", "yes", "no"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    certificate: str
    laboratory: str
    accreditation: str | None = None
    calibrated_on: str
    due_on: str | None = None
    temperature_degC: str | None = None  # noqa: N815 (the unit is written as it is)
    pressure_kPa: str | None = None  # noqa: N815
    humidity_percent: str | None = None
    received_on: str | None = None
    issued_on: str | None = None
    adjustment: str | None = None  # whether it was adjusted between the comparisons as found and as left
    procedure: str | None = None  # by which the laboratory calibrated
    traceability: str | None = None  # what the certificate says of it


class ReferenceStandard(_Row, table=True):
    """An instrument of the register that served as reference standard of an in-house calibration."""

    __tablename__: ClassVar[str] = "reference_standard"
    __table_args__ = (UniqueConstraint("calibration_id", "instrument_id"),)
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    instrument_id: int = Field(foreign_key="instrument.id")


class Comparison(_Row, table=True):
    """One reference value beside one indication."""

    __tablename__: ClassVar[str] = "comparison"
    __table_args__ = (
        _one_of("phase", *PHASES),
        *_above_zero("expanded_uncertainty", "coverage_factor", "observations"),
        *_not_negative("repeatability"),
        CheckConstraint(
            "CAST(coverage_probability_percent AS REAL) > 50 AND CAST(coverage_probability_percent AS REAL) < 100",
            name="coverage_probability_percent_is_one",
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    phase: str
    reference: str
    indication: str
    unit: str  # of the reference value and its uncertainty
    indication_unit: str | None = None  # absent: the same unit
    expanded_uncertainty: str
    coverage_factor: str
    repeatability: str | None = None
    observations: str | None = None
    standard_indication: str | None = (
        None  # in house: of the reference standard, as typed; `reference` is its corrected value
    )
    basis: str | None = None  # JSON, in house: what the reference value and its uncertainty were worked out from
    coverage_probability_percent: str | None = None  # that the expanded uncertainty is stated for


class ComparisonCorrelation(_Row, table=True):
    """Correlation of the reference values at two points of a certificate, as the certificate states it."""

    __tablename__: ClassVar[str] = "comparison_correlation"
    __table_args__ = (
        UniqueConstraint("calibration_id", "phase", "point", "other_point"),
        _one_of("phase", *PHASES),
        CheckConstraint("point > 0 AND other_point > point", name="points_in_order"),
        CheckConstraint(
            "CAST(correlation AS REAL) >= -1 AND CAST(correlation AS REAL) <= 1", name="correlation_from_minus_1_to_1"
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    phase: str
    point: int  # number of the comparison within its phase, from 1
    other_point: int
    correlation: str


class StoredCurve(_Row, table=True):
    """The correction curve of a calibration; of several the latest counts, the earlier ones stay."""

    __tablename__: ClassVar[str] = "correction_curve"
    __table_args__ = (
        _one_of("shape", *CURVE_SHAPES),
        _one_of("phase", *PHASES),
        *_not_blank("chosen_by", "reason"),
        *_above_zero("rule_edition"),
    )
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    shape: str
    degree: int | None = None  # of a polynomial
    phase: str  # whose comparisons it was made from
    low: float  # measuring interval, indication in SI
    high: float
    measuring_interval: str  # the same in the certificate's own digits and unit
    parameters: str  # JSON: coefficients, covariance and the reference part, in SI
    chosen_by: str  # "rule", or the person
    reason: str
    rule_edition: int | None = None  # of the rule that made it; absent: the first


class Acceptance(_Row, table=True):
    """A calibration accepted for use: by whom, when, against which criterion."""

    __tablename__: ClassVar[str] = "acceptance"
    __table_args__ = (*_day("accepted_on"), *_not_blank("accepted_by", "reason", "departure_reason"))
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", unique=True)
    accepted_on: str
    accepted_by: str
    criterion: str | None = None
    decision_rule: str | None = None
    assessment: str | None = None  # JSON: each comparison with its error, its limit, its statement
    reason: str | None = None  # why it holds from a day before it was recorded
    departure_reason: str | None = None  # why it departs from the register's criterion
    carried_from_id: int | None = Field(default=None, foreign_key="acceptance.id")  # that of the superseded certificate


class Withdrawal(_Row, table=True):
    """A calibration that was recorded wrongly: from then on it counts for nothing, at no time."""

    __tablename__: ClassVar[str] = "withdrawal"
    __table_args__ = (*_not_blank("reason"),)
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", unique=True)
    reason: str


class Supersession(_Row, table=True):
    """A certificate that its laboratory reissued: the new one takes the place of the old without a gap."""

    __tablename__: ClassVar[str] = "supersession"
    __table_args__ = (
        _one_of("same_values", "yes", "no"),
        *_not_blank("reason"),
        CheckConstraint("old_calibration_id <> calibration_id", name="two_certificates"),
    )
    id: int | None = Field(default=None, primary_key=True)
    old_calibration_id: int = Field(foreign_key="calibration.id", unique=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    reason: str
    same_values: str  # whether comparisons and uncertainties are those of the old one


class Event(_Row, table=True):
    """What happened to an instrument (6.4.13 h)."""

    __tablename__: ClassVar[str] = "event"
    __table_args__ = (
        _one_of("kind", *EVENT_KINDS),
        *_moment("at"),
        *_not_blank("reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    kind: str
    at: str
    reason: str
    value: str | None = None  # what it is now: a location, an interval in months


class IntermediateCheck(_Row, table=True):
    """An intermediate check of an instrument (6.4.10)."""

    __tablename__: ClassVar[str] = "intermediate_check"
    __table_args__ = (
        _one_of("kind", *CHECK_KINDS),
        _one_of("result", "passed", "failed"),
        *_moment("at"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    at: str
    kind: str
    value: str
    low: str  # limits of what passes
    high: str
    unit: str
    result: str
    remarks: str | None = None
    other_instrument_id: int | None = Field(
        default=None, foreign_key="instrument.id"
    )  # compared with, or check standard
    basis: str | None = None  # JSON: what value and limits were worked out from


def _of_method() -> tuple[CheckConstraint, ...]:
    return (
        *_not_blank("basis"),
        *_not_negative(
            "relative_standard_uncertainty_percent",
            "common_standard_uncertainty_percent",
            "own_standard_uncertainty_percent",
            "share_below_interval_percent",
        ),
        _one_of("pattern", *PATTERNS),
        *_above_zero("degrees_of_freedom", "common_degrees_of_freedom", "own_degrees_of_freedom"),
        CheckConstraint(
            "(relative_standard_uncertainty_percent IS NOT NULL AND common_standard_uncertainty_percent IS NULL "
            "AND own_standard_uncertainty_percent IS NULL) OR (relative_standard_uncertainty_percent IS NULL "
            "AND common_standard_uncertainty_percent IS NOT NULL AND own_standard_uncertainty_percent IS NOT NULL)",
            name="single_figure_or_both",
        ),
    )


class _Named(_Row):
    id: int | None = Field(default=None, primary_key=True)
    method: str = Field(unique=True)


class _MethodAsTyped(_Row):
    """What is declared of a method, at first and whenever it is amended."""

    relative_standard_uncertainty_percent: str | None = None  # a single figure: what readings share of it is not known
    basis: str
    pattern: str | None = None  # where and how the instrument is held
    degrees_of_freedom: str | None = None  # of the declared uncertainty; absent: taken as exactly known
    common_standard_uncertainty_percent: str | None = None  # that all readings by the method share
    common_degrees_of_freedom: str | None = None
    own_standard_uncertainty_percent: str | None = None  # of each reading by itself
    own_degrees_of_freedom: str | None = None
    share_below_interval_percent: str | None = None  # of the flow, that points below the lowest comparison may carry

    @property
    def declared_percent(self) -> float:
        """Relative standard uncertainty of one reading by it [%]: the single figure, or the root of the sum of both squares."""
        if self.relative_standard_uncertainty_percent is not None:
            return float(self.relative_standard_uncertainty_percent)
        return math.hypot(
            float(self.common_standard_uncertainty_percent or 0), float(self.own_standard_uncertainty_percent or 0)
        )


class Method(_MethodAsTyped, _Named, table=True):
    """A way of measuring, with the standard uncertainty that the company declares for it."""

    __tablename__: ClassVar[str] = "method"
    __table_args__ = (*_not_blank("method"), *_of_method())


class MethodRevision(_MethodAsTyped, table=True):
    """A method as it was amended: the whole of it, with the reason. The latest revision counts."""

    __tablename__: ClassVar[str] = "method_revision"
    __table_args__ = (
        UniqueConstraint("method_id", "revision"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *_not_blank("reason"),
        *_of_method(),
    )
    id: int | None = Field(default=None, primary_key=True)
    method_id: int = Field(foreign_key="method.id", index=True)
    revision: int  # the method as first declared is revision 1
    reason: str


def _of_job() -> tuple[CheckConstraint, ...]:
    return (_one_of("decision_rule", *_DECISION_RULES), *_above_zero("density_kg_per_m3"), *_day("agreed_on"))


class _JobNamed(_Row):
    id: int | None = Field(default=None, primary_key=True)
    job: str = Field(unique=True)


class _JobAsTyped(_Row):
    """What is typed of a job, at first and whenever it is amended."""

    title: str | None = None
    site: str | None = None
    client: str | None = None
    decision_rule: str
    density_kg_per_m3: str | None = None  # at which its volume flows are compared; absent: each at its own state
    agreed_by: str | None = None  # who agreed to the decision rule for the client
    agreed_on: str | None = None
    flow_unit: str | None = None  # in which its flows are reported


class Job(_JobAsTyped, _JobNamed, table=True):
    """A job on a site, with the decision rule agreed for it."""

    __tablename__: ClassVar[str] = "job"
    __table_args__ = (*_not_blank("job"), *_of_job())


class JobRevision(_JobAsTyped, table=True):
    """A job as it was amended: the whole of it, with the reason. The latest revision counts."""

    __tablename__: ClassVar[str] = "job_revision"
    __table_args__ = (
        UniqueConstraint("job_id", "revision"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *_not_blank("reason"),
        *_of_job(),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    revision: int  # the job as first typed is revision 1
    reason: str


class DeclaredAir(_Row, table=True):
    """Range of temperature of a service's air where none was observed. Of several of one service the latest counts."""

    __tablename__: ClassVar[str] = "declared_air"
    __table_args__ = (
        _one_of("service", *SERVICES),
        *_not_blank("basis"),
        CheckConstraint(
            "CAST(temperature_low_degC AS REAL) < CAST(temperature_high_degC AS REAL)", name="temperature_rises"
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    service: str
    temperature_low_degC: str  # noqa: N815 (the unit is written as it is)
    temperature_high_degC: str  # noqa: N815
    basis: str


class Source(_Row, table=True):
    """A source of outlet factors: what rests on the same one is in error together. The latest edition counts."""

    __tablename__: ClassVar[str] = "source"
    __table_args__ = (
        _unique("source_key", "source", "COALESCE(edition, '')"),
        *_not_blank("source", "document", "basis"),
    )
    id: int | None = Field(default=None, primary_key=True)
    source: str
    document: str
    edition: str | None = None
    basis: str


class SourceSpelling(_Row, table=True):
    """Another spelling by which an outlet names a source: one that differs by more than case, space or punctuation."""

    __tablename__: ClassVar[str] = "source_spelling"
    __table_args__ = (*_not_blank("spelling", "reason"),)
    id: int | None = Field(default=None, primary_key=True)
    spelling: str = Field(unique=True)
    source_id: int = Field(foreign_key="source.id", index=True)
    reason: str


class _DesignOfSystem(_Row):
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    system: str
    service: str
    design_flow: str
    flow_unit: str
    tolerance_percent: str | None = None
    revision: int | None = None  # absent: the first


class SystemDesign(_Limits, _DesignOfSystem, table=True):
    """What a system's total of one service, or its net flow, was designed to be."""

    __tablename__: ClassVar[str] = "system_design"
    __table_args__ = (
        _unique("system_design_key", "job_id", "system", "service", "COALESCE(revision, 1)"),
        *_not_blank("system"),
        _one_of("service", *SERVICES),
        *_above_zero("design_flow", "tolerance_percent", *_LIMITS),
        _one_style_of_tolerance(),
        CheckConstraint("revision > 1", name="revision_above_1"),
    )


class Room(_Row, table=True):
    """A room whose supply and extract the design relates: more supply (positive) or less (negative)."""

    __tablename__: ClassVar[str] = "room"
    __table_args__ = (
        _unique("room_key", "job_id", "room", "COALESCE(revision, 1)"),
        *_not_blank("room"),
        _one_of("pressure", "positive", "negative"),
        CheckConstraint("revision > 1", name="revision_above_1"),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    room: str
    pressure: str
    revision: int | None = None  # absent: the first


def _of_outlet() -> tuple[CheckConstraint, ...]:
    return (
        *_not_blank("system"),
        _one_of("service", *SERVICES),
        _one_of("shape", *SHAPES),
        _one_of("place", *PLACES),
        _one_of("in_totals", "yes", "no"),
        *_above_zero(
            "width",
            "height",
            "diameter",
            "outlet_factor",
            "effective_area",
            "design_flow",
            "tolerance_percent",
            *_LIMITS,
        ),
        _one_style_of_tolerance(),
        *_not_negative("dimension_limit", "outlet_factor_standard_uncertainty", "effective_area_standard_uncertainty"),
        CheckConstraint(
            "(outlet_factor IS NULL OR effective_area IS NULL) AND (outlet_factor IS NULL OR found_factor IS NULL) "
            "AND (effective_area IS NULL OR found_factor IS NULL)",
            name="one_factor_at_most",
        ),
        CheckConstraint(
            "place IS NULL OR place <> 'duct' "
            "OR (outlet_factor IS NULL AND effective_area IS NULL AND found_factor IS NULL)",
            name="duct_without_factor",
        ),
    )


class _OutletAsTyped(_Row):
    """What is typed of an outlet or of a duct's measuring section, at first and whenever it is amended."""

    system: str
    service: str
    place: str | None = None  # absent: an outlet
    in_totals: str | None = None  # absent: outlets are, ducts where their system has no outlet of that service
    room: str | None = None
    outlet_type: str | None = None
    shape: str | None = None
    width: str | None = None
    height: str | None = None
    diameter: str | None = None
    dimension_unit: str | None = None
    dimension_limit: str | None = None
    outlet_factor: str | None = None
    outlet_factor_standard_uncertainty: str | None = None
    outlet_factor_source: str | None = None
    outlet_factor_reason: str | None = None  # why a factor above 1.2 is right
    effective_area: str | None = None
    effective_area_unit: str | None = None
    effective_area_standard_uncertainty: str | None = None
    found_factor: str | None = None  # name of a factor found in the field
    design_flow: str | None = None
    flow_unit: str | None = None
    tolerance_percent: str | None = None


class Outlet(_Limits, _OutletAsTyped, table=True):
    """An outlet of a job, or the measuring section of a duct: its opening, its factor, its design flow."""

    __tablename__: ClassVar[str] = "outlet"
    __table_args__ = (UniqueConstraint("job_id", "outlet"), *_not_blank("outlet"), *_of_outlet())
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    outlet: str


class OutletRevision(_Limits, _OutletAsTyped, table=True):
    """An outlet as it was amended: the whole of it, with the reason. The latest revision counts."""

    __tablename__: ClassVar[str] = "outlet_revision"
    __table_args__ = (
        UniqueConstraint("outlet_id", "revision"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *_not_blank("reason"),
        *_of_outlet(),
    )
    id: int | None = Field(default=None, primary_key=True)
    outlet_id: int = Field(foreign_key="outlet.id", index=True)
    revision: int  # the outlet as first typed is revision 1
    reason: str


class FoundFactor(_Row, table=True):
    """An outlet factor found in the field, from traverses paired with face readings. Of several revisions the latest counts."""

    __tablename__: ClassVar[str] = "found_factor"
    __table_args__ = (
        UniqueConstraint("factor", "revision"),
        *_not_blank("factor", "reason"),
        _one_of("scope", *SCOPES),
        *_above_zero("value", "revision", "effective_area"),
        *_not_negative("relative_spread", "relative_reference", "relative_instrument"),
        CheckConstraint("(outlet_id IS NULL) <> (outlet_type IS NULL)", name="outlet_or_type"),
        CheckConstraint("(effective_area IS NULL) = (outlet_id IS NULL)", name="effective_area_of_this_outlet"),
    )
    id: int | None = Field(default=None, primary_key=True)
    factor: str
    revision: int
    scope: str
    outlet_id: int | None = Field(default=None, foreign_key="outlet.id")
    outlet_type: str | None = None
    instrument_id: int = Field(foreign_key="instrument.id")  # at the face
    calibration_id: int = Field(foreign_key="calibration.id")
    method_id: int = Field(foreign_key="method.id")
    value: float  # K [1]
    effective_area: float | None = None  # K A [m2], of a factor for this outlet: whatever its dimensions are
    relative_spread: float  # s/sqrt(n)/K of the pairs; 0 with one pair, whose spread is then stated
    degrees_of_freedom: float | None = None  # of the spread; absent: stated
    relative_reference: float  # of the traverses, without what their own spread shows
    relative_instrument: float  # of the face instrument's calibration: cancels with the same calibration
    face_indications: str  # JSON: mean indication of each face reading [SI]
    reason: str


class FactorPair(_Row, table=True):
    """A traverse paired with a face reading, and the factor that the pair gives."""

    __tablename__: ClassVar[str] = "factor_pair"
    __table_args__ = (UniqueConstraint("found_factor_id", "traverse_reading_id", "face_reading_id"),)
    id: int | None = Field(default=None, primary_key=True)
    found_factor_id: int = Field(foreign_key="found_factor.id", index=True)
    traverse_reading_id: int = Field(foreign_key="reading.id")
    face_reading_id: int = Field(foreign_key="reading.id")
    value: float


class Condition(_Row, table=True):
    """One quantity of the air's conditions at a place and time of a job; rows of one name belong together."""

    __tablename__: ClassVar[str] = "condition"
    __table_args__ = (
        _unique("condition_key", "job_id", "conditions", "quantity", "COALESCE(revision, 1)"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *_not_blank("conditions"),
        *_moment("observed_at"),
        _one_of("quantity", *CONDITION_QUANTITIES),
        *_not_negative("standard_uncertainty"),
        CheckConstraint("(instrument_id IS NULL) <> (standard_uncertainty IS NULL)", name="instrument_or_stated"),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    conditions: str
    observed_at: str
    quantity: str
    value: str
    unit: str
    instrument_id: int | None = Field(default=None, foreign_key="instrument.id")
    standard_uncertainty: str | None = None  # where no instrument of the register was used
    source: str | None = None
    revision: int | None = None  # absent: the first


class Traverse(_Row, table=True):
    """Where a duct was traversed."""

    __tablename__: ClassVar[str] = "traverse"
    __table_args__ = (_one_of("rule", *TRAVERSE_RULES), *_above_zero("lines", "points"))
    id: int | None = Field(default=None, primary_key=True)
    rule: str
    lines: int
    points: int  # on each line


class TraversePoint(_Row, table=True):
    """What was observed at one point of a traverse: one indication for each pass."""

    __tablename__: ClassVar[str] = "traverse_point"
    __table_args__ = (
        UniqueConstraint("traverse_id", "line", "point"),
        *_above_zero("line", "point"),
        *_not_blank("indications"),
    )
    id: int | None = Field(default=None, primary_key=True)
    traverse_id: int = Field(foreign_key="traverse.id", index=True)
    line: int
    point: int
    indications: str  # joined by ;


class LoggedSeries(_Row, table=True):
    """A file of values that a meter logged, whole."""

    __tablename__: ClassVar[str] = "logged_series"
    __table_args__ = (*_not_blank("name", "sha256"),)
    id: int | None = Field(default=None, primary_key=True)
    name: str
    content: bytes
    sha256: str


class _Observed(_Row):
    """What is typed of a reading, whether it was accepted or refused."""

    outlet_id: int = Field(foreign_key="outlet.id", index=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    method_id: int = Field(foreign_key="method.id")
    observed_at: str
    indication: str | None = None  # the mean as shown; absent where only the observations were typed
    unit: str
    observations: str | None = None  # repeated values, joined by ;
    operator: str
    remarks: str | None = None
    averaging_s: str | None = None
    logged_series_id: int | None = Field(default=None, foreign_key="logged_series.id")  # values that the meter logged
    probe_id: int | None = Field(default=None, foreign_key="instrument.id")  # between the air and a manometer
    conditions: str | None = None  # name of the conditions of the air in the same job
    throttled_observations: str | None = None  # of a hood with its throttle set, beside the open ones
    traverse_id: int | None = Field(default=None, foreign_key="traverse.id")
    revision: int | None = None  # absent: the first; a later one takes the place of a retracted one
    stage: str | None = None  # absent: not said


def _of_observed(table: str) -> tuple[CheckConstraint | Index, ...]:
    return (
        _unique(f"{table}_key", "outlet_id", "instrument_id", "observed_at", "COALESCE(revision, 1)"),
        *_moment("observed_at"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        _one_of("stage", *STAGES),
    )


class Reading(_Observed, table=True):
    """A reading that the gate let through."""

    __tablename__: ClassVar[str] = "reading"
    __table_args__ = (*_of_observed("reading"), *_not_blank("operator"))
    id: int | None = Field(default=None, primary_key=True)


class Refusal(_Observed, table=True):
    """A reading that the gate refused: everything typed, and the reasons."""

    __tablename__: ClassVar[str] = "refusal"
    __table_args__ = (*_of_observed("refusal"), *_not_blank("operator", "reasons"))
    id: int | None = Field(default=None, primary_key=True)
    reasons: str  # JSON list


class Retraction(_Row, table=True):
    """A record that counts for nothing from then on, or whose place another of its table takes."""

    __tablename__: ClassVar[str] = "retraction"
    __table_args__ = (
        UniqueConstraint("record_table", "record_id"),
        _one_of("record_table", *RETRACTABLE),
        *_not_blank("reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    record_table: str
    record_id: int
    replaced_by_id: int | None = None  # of the same table; absent: nothing takes its place
    reason: str


class SentEntry(_Row, table=True):
    """An entry that a device sent, by the key it gave: sent twice, it is written once."""

    __tablename__: ClassVar[str] = "sent_entry"
    __table_args__ = (*_not_blank("client_key", "device"), *_moment("sent_at"))
    id: int | None = Field(default=None, primary_key=True)
    client_key: str = Field(unique=True)
    record_table: str
    record_id: int
    sent_at: str
    clock_offset_s: str  # of the device's clock against the server's
    device: str


class Attachment(_Row, table=True):
    """A file as it was received, kept by the digest of its content."""

    __tablename__: ClassVar[str] = "attachment"
    __table_args__ = (
        *_not_blank("name", "sha256"),
        _one_of("media_type", "application/pdf", "image/png", "image/jpeg", "application/xml"),
    )
    id: int | None = Field(default=None, primary_key=True)
    name: str
    media_type: str
    sha256: str = Field(unique=True)
    content: bytes


class SignatureVerdict(_Row, table=True):
    """What was found of the signature on a file as received; of several the latest counts."""

    __tablename__: ClassVar[str] = "signature_verdict"
    __table_args__ = (_one_of("verdict", "verified", "signed and not verified", "unsigned"),)
    id: int | None = Field(default=None, primary_key=True)
    attachment_id: int = Field(foreign_key="attachment.id", index=True)
    verdict: str
    signer: str | None = None
    laboratory_certificate_id: int | None = Field(default=None, foreign_key="laboratory_certificate.id")


class LaboratoryCertificate(_Row, table=True):
    """A certificate by which a laboratory signs, trusted from a time on, or no longer."""

    __tablename__: ClassVar[str] = "laboratory_certificate"
    __table_args__ = (
        UniqueConstraint("sha256", "kind", "at"),
        _one_of("kind", "trusted", "no longer trusted"),
        *_moment("at"),
        *_not_blank("laboratory", "sha256", "reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    laboratory: str
    sha256: str
    content: bytes
    kind: str
    at: str
    reason: str


class Attached(_Row, table=True):
    """What a file belongs to.

    An instrument, a reading or an outlet (a photograph), a calibration (its certificate), a job (the client's agreement), a
    competence (its evidence).
    """

    __tablename__: ClassVar[str] = "attached"
    __table_args__ = (
        CheckConstraint(
            " + ".join(f"(CASE WHEN {one}_id IS NULL THEN 0 ELSE 1 END)" for one in ATTACHED_TO) + " = 1",
            name="belongs_to_one_record",
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    attachment_id: int = Field(foreign_key="attachment.id", index=True)
    instrument_id: int | None = Field(default=None, foreign_key="instrument.id", index=True)
    calibration_id: int | None = Field(default=None, foreign_key="calibration.id", index=True)
    remarks: str | None = None
    reading_id: int | None = Field(default=None, foreign_key="reading.id", index=True)
    outlet_id: int | None = Field(default=None, foreign_key="outlet.id", index=True)
    job_id: int | None = Field(default=None, foreign_key="job.id", index=True)
    competence_id: int | None = Field(default=None, foreign_key="competence.id", index=True)


class Pairing(_Row, table=True):
    """A probe and the meter that it is used with, from a time on; ended by a row that says so."""

    __tablename__: ClassVar[str] = "pairing"
    __table_args__ = (
        _one_of("kind", "paired", "parted"),
        *_moment("at"),
        *_not_blank("reason"),
        CheckConstraint("probe_id <> meter_id", name="two_instruments"),
    )
    id: int | None = Field(default=None, primary_key=True)
    probe_id: int = Field(foreign_key="instrument.id", index=True)
    meter_id: int = Field(foreign_key="instrument.id", index=True)
    kind: str
    at: str
    reason: str


class Person(_Row, table=True):
    """A person who writes, and the login of a shared database that is theirs."""

    __tablename__: ClassVar[str] = "person"
    __table_args__ = (*_not_blank("name"),)
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    login: str | None = Field(default=None, unique=True)


class Role(_Row, table=True):
    """A role given to a person, or withdrawn, from a time on."""

    __tablename__: ClassVar[str] = "role"
    __table_args__ = (
        _one_of("role", "technician", "QA", "engineer"),
        _one_of("kind", "given", "withdrawn"),
        *_moment("at"),
        *_not_blank("reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    role: str
    kind: str
    at: str
    reason: str


class PersonLogin(_Row, table=True):
    """The login of a person from a time on, instead of the one before; of several the latest counts."""

    __tablename__: ClassVar[str] = "person_login"
    __table_args__ = (*_moment("at"), *_not_blank("login", "reason"))
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    login: str | None = None  # absent: none any more
    at: str
    reason: str


class Competence(_Row, table=True):
    """What a person was authorised to do, by whom, from when and until when (6.2.5); of one scope the latest counts."""

    __tablename__: ClassVar[str] = "competence"
    __table_args__ = (*_day("from_on", "until_on"), *_not_blank("scope", "authorised_by"))
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    scope: str
    from_on: str
    until_on: str | None = None
    authorised_by: str


class Company(_Row, table=True):
    """The company as its reports name it; of several the latest counts."""

    __tablename__: ClassVar[str] = "company"
    __table_args__ = (*_not_blank("name", "address"),)
    id: int | None = Field(default=None, primary_key=True)
    name: str
    address: str
    contact: str | None = None
    base_address: str | None = None  # of its pages, which labels print
    mark_attachment_id: int | None = Field(default=None, foreign_key="attachment.id")


class HouseRule(_Row, table=True):
    """A rule of the company that the program follows; of several of one name the latest counts."""

    __tablename__: ClassVar[str] = "house_rule"
    __table_args__ = (_one_of("rule", *_HOUSE_RULES), _one_of("holds", "yes", "no"), *_not_blank("value", "reason"))
    id: int | None = Field(default=None, primary_key=True)
    rule: str
    holds: str
    reason: str
    value: str | None = None  # of a rule that has one: years


class ImpactReview(_Row, table=True):
    """What was touched by something that shakes results already given (7.10); open until each line is disposed of."""

    __tablename__: ClassVar[str] = "impact_review"
    __table_args__ = (
        _unique(
            "impact_review_key",
            "COALESCE(cause, 'as found')",
            "COALESCE(cause_table, 'calibration')",
            "COALESCE(cause_id, calibration_id)",
        ),
        *_not_blank("criterion"),
        _one_of("cause", *REVIEW_CAUSES),
        CheckConstraint("(cause_table IS NULL) = (cause_id IS NULL)", name="cause_is_a_record"),
        CheckConstraint("calibration_id IS NOT NULL OR cause_id IS NOT NULL", name="calibration_or_cause"),
    )
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int | None = Field(default=None, foreign_key="calibration.id", index=True)
    criterion: str
    assessment: str  # JSON: the comparisons as found beyond it
    cause: str | None = None  # absent: as found
    cause_table: str | None = None  # the record that opened it; absent: the calibration
    cause_id: int | None = None
    instrument_id: int | None = Field(default=None, foreign_key="instrument.id", index=True)


class ReviewDecision(_Row, table=True):
    """Which curve holds for what a review touched, as a person decided; of several the latest counts."""

    __tablename__: ClassVar[str] = "review_decision"
    __table_args__ = (
        _one_of("curve", *HOLDING_CURVES),
        *_moment("from_at"),
        *_not_blank("reason"),
        CheckConstraint("(curve = 'as found from') = (from_at IS NOT NULL)", name="from_a_time_on"),
    )
    id: int | None = Field(default=None, primary_key=True)
    impact_review_id: int = Field(foreign_key="impact_review.id", index=True)
    curve: str
    from_at: str | None = None
    reason: str


class ImpactLine(_Row, table=True):
    """One record that rests on the instrument: a reading, a factor found with it, an issued report, a calibration by it."""

    __tablename__: ClassVar[str] = "impact_line"
    __table_args__ = (UniqueConstraint("impact_review_id", "record_table", "record_id"),)
    id: int | None = Field(default=None, primary_key=True)
    impact_review_id: int = Field(foreign_key="impact_review.id", index=True)
    record_table: str
    record_id: int
    finding: str  # JSON: values before and after with their U, shift, shift over U, statements


class Disposition(_Row, table=True):
    """What a person decided on one line of an impact review, and why; of several the latest counts."""

    __tablename__: ClassVar[str] = "disposition"
    __table_args__ = (
        _one_of("decision", "stands", "reissue", "measure again", "withdraw", "immaterial"),
        *_not_blank("reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    impact_line_id: int = Field(foreign_key="impact_line.id", index=True)
    decision: str
    reason: str


class IssuedReport(_Row, table=True):
    """One issue of a job's report; a later revision says why."""

    __tablename__: ClassVar[str] = "issued_report"
    __table_args__ = (
        UniqueConstraint("job_id", "revision"),
        *_moment("issued_at"),
        *_above_zero("revision"),
        *_not_blank("ledger_digest"),
        CheckConstraint("revision = 1 OR length(reason) > 0", name="a_later_revision_says_why"),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    revision: int
    issued_at: str
    reason: str | None = None  # absent: the first revision
    ledger_digest: str  # the ledger's head when it was written
    gaps_reason: str | None = None  # why it was issued although outlets were not measured
    validation_id: int | None = Field(default=None, foreign_key="validation.id")  # of the program that wrote it
    signed_by: str | None = None
    signature: str | None = None  # JSON: what the signature says of itself


class IssuedForm(_Row, table=True):
    """A form of an issued report: its exact bytes."""

    __tablename__: ClassVar[str] = "issued_form"
    __table_args__ = (
        UniqueConstraint("issued_report_id", "form"),
        *_not_blank("form", "name", "sha256"),
        _one_of("encoding", "zlib", "derived"),
        CheckConstraint("content IS NOT NULL OR COALESCE(encoding, '') = 'derived'", name="content_unless_derived"),
    )
    id: int | None = Field(default=None, primary_key=True)
    issued_report_id: int = Field(foreign_key="issued_report.id", index=True)
    form: str
    name: str
    sha256: str = Field(index=True)  # of the form itself, however it is kept
    content: bytes | None = None  # as calib.records.issued_forms keeps it
    encoding: str | None = None  # absent: the form as it is


class SoftwareValidation(_Row, table=True):
    """The published checks as the program passed them on a machine (7.11)."""

    __tablename__: ClassVar[str] = "validation"
    __table_args__ = (
        *_moment("at"),
        _one_of("result", "passed", "failed"),
        *_above_zero("checks"),
        *_not_blank("version", "platform", "sha256"),
    )
    id: int | None = Field(default=None, primary_key=True)
    at: str
    version: str
    platform: str
    result: str
    checks: int
    content: bytes  # what each check gave
    sha256: str


class Attempt(_Row, table=True):
    """An act that was asked for and refused: what was asked, and why not."""

    __tablename__: ClassVar[str] = "attempt"
    __table_args__ = (*_not_blank("act"),)
    id: int | None = Field(default=None, primary_key=True)
    act: str
    record_table: str
    record_id: int
    asked: str  # JSON
    findings: str  # JSON


class BackupMade(_Row, table=True):
    """A backup that was made: how far it reaches."""

    __tablename__: ClassVar[str] = "backup"
    __table_args__ = (*_not_blank("name", "digest"), *_not_negative("entries"))
    id: int | None = Field(default=None, primary_key=True)
    name: str  # without its folder
    entries: int
    digest: str


class Anchor(_Row, table=True):
    """The head of another ledger: proof that it stood so when this was recorded."""

    __tablename__: ClassVar[str] = "anchor"
    __table_args__ = (*_not_blank("records", "digest", "reason"), *_above_zero("sequence"), *_moment("time"))
    id: int | None = Field(default=None, primary_key=True)
    records: str
    sequence: int
    digest: str
    time: str
    reason: str


class ClockStep(_Row, table=True):
    """A clock that had been ahead: from here on the times of the ledger are compared anew."""

    __tablename__: ClassVar[str] = "clock_step"
    __table_args__ = (*_not_blank("reason"),)
    id: int | None = Field(default=None, primary_key=True)
    reason: str


class LedgerBreak(_Row, table=True):
    """A broken place of the chain that its owner has looked into and closed: it stays visible."""

    __tablename__: ClassVar[str] = "ledger_break"
    __table_args__ = (*_above_zero("sequence"), *_not_blank("digest", "reason"))
    id: int | None = Field(default=None, primary_key=True)
    sequence: int
    digest: str  # that was there instead of the right one
    reason: str


class LedgerEntry(_Row, table=True):
    """One write: the chain that makes a change behind the program's back visible."""

    __tablename__: ClassVar[str] = "ledger"
    __table_args__ = (UniqueConstraint("record_table", "record_id"),)
    sequence: int | None = Field(default=None, primary_key=True)
    time: str
    person: str
    action: str
    record_table: str
    record_id: int
    record_digest: str  # SHA-256 of the record's bytes
    previous: str = Field(unique=True)  # digest of the entry before; unique, so the chain cannot fork
    digest: str = Field(unique=True)  # SHA-256 of this entry's bytes, `previous` among them
    version: str | None = None  # of the program that wrote it


EVIDENCE: tuple[type[SQLModel], ...] = (
    Instrument,
    Calibration,
    ReferenceStandard,
    Comparison,
    StoredCurve,
    Acceptance,
    Withdrawal,
    Event,
    IntermediateCheck,
    Method,
    Job,
    Outlet,
    LoggedSeries,
    Reading,
    Refusal,
    SystemDesign,
    Room,
    OutletRevision,
    Condition,
    Traverse,
    TraversePoint,
    FoundFactor,
    FactorPair,
    Attachment,
    Attached,
    Pairing,
    Person,
    Role,
    HouseRule,
    ImpactReview,
    ImpactLine,
    Disposition,
    IssuedReport,
    IssuedForm,
    InstrumentRevision,
    MethodRevision,
    JobRevision,
    DeclaredAir,
    Source,
    SourceSpelling,
    ComparisonCorrelation,
    Supersession,
    Retraction,
    SentEntry,
    SignatureVerdict,
    LaboratoryCertificate,
    PersonLogin,
    Competence,
    Company,
    ReviewDecision,
    SoftwareValidation,
    Attempt,
    BackupMade,
    Anchor,
    ClockStep,
    LedgerBreak,
)


def _with_wide_keys(table: Table) -> None:
    """Keys that a server numbers in eight bytes, as SQLite does."""
    for column in table.columns:
        if isinstance(column.type, Integer) and (column.name in ("id", "sequence") or column.name.endswith("_id")):
            column.type = BigInteger().with_variant(Integer(), "sqlite")


for _table in SQLModel.metadata.tables.values():
    _with_wide_keys(_table)
