"""The columns of a report's workbook: their labels, where their cells are found in the content, and how numbers are shown.

Numbers stand unrounded, each under a format that shows the digits which the report gives it, or that were typed; days and moments
are dates.
"""

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo
from functools import lru_cache
from typing import Any

from calib.faces.parts.cross_checks import agreement_text, sides_text
from calib.faces.parts.review_on_job import decided_text, disposed_text
from calib.faces.parts.two_days import accepted_later
from calib.faces.report.symbols import letter_and_subscript
from calib.faces.written import Content, design_text, total_name, unit_text, with_powers, with_units
from calib.uncertainty.statement import round_uncertainty

MOST_DECIMALS = 15  # of a number format; a float has no more digits
WHOLE, ONE_DECIMAL, TWO_DECIMALS = "0", "0.0", "0.00"
GENERAL = "General"
DAY, MINUTE, SECOND = "yyyy-mm-dd", "yyyy-mm-dd hh:mm", "yyyy-mm-dd hh:mm:ss"
# A report never says 0 % or 100 %: `probability_text`. The program keeps what is in the cell.
PROBABILITY = '[>0.9995]"> 99.9 %";[<0.0005]"< 0.1 %";0.0" "%'
RISK = '[<0.0001]"< 0.01 %";0.00" "%'
DEGREES = '[>9999]"> 9999";0.0'

Shown = str | Callable[[Content], str]  # number format, or how a row's is found


@dataclass(frozen=True)
class SheetColumn:
    """A column of a sheet: its label, where its cells are found in a row, and how a number is shown."""

    label: str
    of: Callable[[Content], Any]
    shown: Shown | None = None  # absent: text
    width: float = 11.0  # signs
    names_row: bool = False  # one of those at the left that say what a row is of: repeated on each printed page

    def shown_in(self, row: Content) -> str:
        """Number format of its cell in a row."""
        return GENERAL if self.shown is None else self.shown if isinstance(self.shown, str) else self.shown(row)


# --- where a cell is found -------------------------------------------------------------------------------------------------------


def _at(*path: str) -> Callable[[Content], Any]:
    """What stands at a path; nothing where a part of it is missing."""

    def at_path(row: Content) -> Any:
        value: Any = row
        for key in path:
            value = value.get(key) if value is not None else None
        return value

    return at_path


def _date(label: str, *path: str) -> SheetColumn:
    """A column of days."""
    return SheetColumn(label, _at(*path), DAY, 12)


def _time(label: str, *path: str) -> SheetColumn:
    """A column of moments."""
    return SheetColumn(label, _at(*path), MINUTE, 18)


def _unit(label: str, *path: str, width: float) -> SheetColumn:
    """A column of units, typeset."""
    of = _at(*path)
    return SheetColumn(label, lambda row: of(row) and unit_text(of(row)), width=width)


def _sentence(key: str) -> Callable[[Content], Any]:
    """Words of this program's own, with the units in them typeset."""
    return lambda row: row[key] and with_units(row[key])


def _degrees(*path: str) -> Callable[[Content], Any]:
    """Degrees of freedom; without end where the content has none beside an uncertainty."""
    of_all, of_holder = _at(*path), _at(*path[:-1])
    return lambda row: None if of_holder(row) is None else "∞" if of_all(row) is None else of_all(row)


def _joined(key: str, sign: str = "; ") -> Callable[[Content], Any]:
    return lambda row: sign.join(map(str, row[key])) or None


def _typed(label: str, *path: str, width: float = 9.0) -> SheetColumn:
    """A column of numbers that somebody typed: as numbers, with the decimal places that were typed."""
    of = _at(*path)
    return SheetColumn(label, lambda row: None if of(row) is None else float(of(row)), _as_typed(of), width)


def _one_of(key: str, place: int) -> Callable[[Content], Any]:
    """The value at a place of a list; nothing where it is shorter."""
    return lambda row: row[key][place] if place < len(row[key]) else None


_BEFORE = tuple(enumerate(("first", "second", "third")))  # coefficients before another


def _as_number(*path: str) -> Callable[[Content], Any]:
    """A number, typed or worked out, as a number."""
    of = _at(*path)
    return lambda row: None if of(row) is None else float(of(row))


def _source_text(source: Content) -> str:
    return ", ".join(source[name] for name in ("source", "edition", "document", "basis") if source[name])


def _observations(row: Content) -> str | None:
    """Those of a reading, or the values of its log."""
    logged = ";".join(row["evidence"]["indications"]) if row["logged"] else None
    return row["observations"] or logged


def _yes(key: str) -> Callable[[Content], Any]:
    return lambda row: "yes" if row[key] else "no"


# --- days and moments ------------------------------------------------------------------------------------------------------------

_FIRST_DAY = date(1900, 3, 1)  # spreadsheets have a 29th of February before it that never was


def in_one_zone(column: SheetColumn, rows: Sequence[Content]) -> SheetColumn:
    """A column of days or moments as its sheet has it: with dates, those of moments in the zone of most, which the head names.

    What is no date of a spreadsheet stays the text it was, and says so. Any other column stays as it is.
    """
    if column.shown not in (DAY, MINUTE):
        return column
    moments = [moment for moment in (_moment_of(column.of(row)) for row in rows) if moment is not None]
    zones = Counter(moment.tzinfo for moment in moments if moment.tzinfo is not None)
    if column.shown == DAY or not zones:
        return replace(column, of=lambda row: _as_date(column.of(row)))
    ((zone, _),) = zones.most_common(1)
    shown = SECOND if any(moment.second for moment in moments) else MINUTE
    label = f"{column.label} ({moments[0].astimezone(zone).tzname()})"
    return replace(column, label=label, shown=shown, of=lambda row: _as_moment(column.of(row), zone))


def _moment_of(text: str | None) -> datetime | None:
    try:
        return None if text is None else datetime.fromisoformat(text)
    except ValueError:
        return None


def _as_date(text: str | None) -> date | str | None:
    moment = _moment_of(text)
    return _no_date(text) if moment is None or moment.date() < _FIRST_DAY else moment.date()


def _as_moment(text: str | None, zone: tzinfo | None) -> datetime | str | None:
    moment = _moment_of(text)
    if moment is None or moment.tzinfo is None or moment.date() <= _FIRST_DAY:
        return _no_date(text)
    return moment.astimezone(zone).replace(tzinfo=None)


def _no_date(text: str | None) -> str | None:
    return text and f"{text} (a text: no date of a spreadsheet)"


# --- how a number is shown -------------------------------------------------------------------------------------------------------


def decimals(places: int) -> str:
    """Number format with so many decimal places."""
    return f"0.{'0' * min(places, MOST_DECIMALS)}" if places > 0 else WHOLE


def _to_two_digits(of: Callable[[Content], Any]) -> Callable[[Content], str]:
    """A format with the decimal places of an uncertainty of two digits; tens and hundreds are shown whole."""

    def shown(row: Content) -> str:
        uncertainty = of(row)
        return _format_of(abs(uncertainty)) if isinstance(uncertainty, float) else GENERAL

    return shown


@lru_cache(1_000)  # the columns of a row share their uncertainty
def _format_of(uncertainty: float) -> str:
    return decimals(-int(round_uncertainty(uncertainty).as_tuple().exponent))


def _as_written(of: Callable[[Content], Any], form: str) -> Callable[[Content], str]:
    """A format with the decimal places that a number has where it is written so."""
    return lambda row: decimals(len(f"{of(row):{form}}".partition("e")[0].partition(".")[2]))


def _design_as_written(row: Content) -> str:
    """A format with the decimal places of the design flow on the page."""
    return decimals(len(design_text(row["design"]["value"]).partition(".")[2]))


def _as_typed(of: Callable[[Content], Any]) -> Callable[[Content], str]:
    """A format with the decimal places that were typed."""

    def shown(row: Content) -> str:
        text = str(of(row)).lower()
        return GENERAL if "e" in text else decimals(len(text.partition(".")[2]))

    return shown


def _reported(row: Content) -> str | None:
    """Flow ± U unit, as on the page."""
    return with_units(row["flow"]["statement"].partition(", k")[0]) if row["flow"] else None


# --- columns ---------------------------------------------------------------------------------------------------------------------

_NEAR_U = _to_two_digits(_at("flow", "expanded_uncertainty"))
_NEAR_SMALL_U = _to_two_digits(_at("flow", "standard_uncertainty"))
_NEAR_U_OF_VELOCITY = _to_two_digits(_at("velocity", "standard_uncertainty"))
_OWN_DIGITS = _to_two_digits(_at("standard_uncertainty"))

_SYSTEM = SheetColumn("System", _at("system"), width=10, names_row=True)
_OUTLET = SheetColumn("Outlet", _at("outlet"), width=22, names_row=True)
_SERVICE = SheetColumn("Service", _at("service"), width=9, names_row=True)
_READING = SheetColumn("Reading", _at("reading"), WHOLE, 8, names_row=True)
_TAG = SheetColumn("Tag", _at("tag"), width=10, names_row=True)
_FLOW = (
    SheetColumn("Flow ± U as reported", _reported, width=21),
    SheetColumn("Flow", _at("flow", "value"), _NEAR_U),
    SheetColumn("U", _at("flow", "expanded_uncertainty"), _NEAR_U, 9),
    _unit("Unit", "flow", "unit", width=6),
    SheetColumn("k", _at("flow", "coverage_factor"), TWO_DECIMALS, 6),
    SheetColumn("u", _at("flow", "standard_uncertainty"), _NEAR_SMALL_U, 9),
    SheetColumn("Effective ν", _degrees("flow", "effective_degrees_of_freedom"), DEGREES, 9),
    SheetColumn("Coverage probability", _at("flow", "coverage_probability"), '0.00" "%', 10),
    SheetColumn("Interval from", _at("flow", "interval", "low"), _NEAR_U, 9),
    SheetColumn("Interval to", _at("flow", "interval", "high"), _NEAR_U, 9),
)
_DESIGN = (
    SheetColumn("Design", _at("design", "value"), _design_as_written, 9),
    SheetColumn(
        "Tolerance [%]", _at("design", "tolerance_percent"), _as_written(_at("design", "tolerance_percent"), "g"), 10
    ),
    SheetColumn("Lowest that conforms", _at("design", "lower_limit"), _design_as_written, 10),
    SheetColumn("Highest that conforms", _at("design", "upper_limit"), _design_as_written, 10),
    SheetColumn("Guard band w", _at("design", "guard_band"), _NEAR_U, 9),
    SheetColumn("k of w", _at("design", "guard_factor"), TWO_DECIMALS, 6),
    SheetColumn("% of design", _at("design", "percent_of_design"), ONE_DECIMAL, 8),
    SheetColumn("Conformity", _at("design", "conformity"), width=18),
    SheetColumn("Probability of conformity", _at("design", "probability_of_conformity"), PROBABILITY, 11),
)
OF_FLOWS = (
    _SYSTEM,
    _OUTLET,
    _SERVICE,
    *_FLOW,
    *_DESIGN,
    SheetColumn("Consumer's risk", _at("design", "consumer_risk"), RISK, 10),
    SheetColumn("Producer's risk", _at("design", "producer_risk"), RISK, 10),
    SheetColumn("State of the design", _at("design", "state"), width=14),
    SheetColumn(
        "Flow in that state",
        _at("design", "flow", "value"),
        _to_two_digits(_at("design", "flow", "expanded_uncertainty")),
        9,
    ),
    SheetColumn(
        "U in that state",
        _at("design", "flow", "expanded_uncertainty"),
        _to_two_digits(_at("design", "flow", "expanded_uncertainty")),
        9,
    ),
    SheetColumn("Latest", _yes("latest"), width=7),
    SheetColumn("In totals", _yes("in_totals"), width=7),
    _READING,
)
_EVIDENCE = _at("evidence")
_WORKED_OUT_FROM = (
    SheetColumn("Shape", _at("evidence", "dimensions", "shape"), width=11),
    *(_typed(side.capitalize(), "evidence", "dimensions", side) for side in ("width", "height", "diameter")),
    _typed("Limit of each", "evidence", "dimensions", "dimension_limit"),
    _unit("Unit of length", "evidence", "dimensions", "dimension_unit", width=8),
    SheetColumn("Factor", _at("evidence", "factor", "kind"), width=14),
    SheetColumn("K or Aₑ", _as_number("evidence", "factor", "value"), GENERAL, 11),
    SheetColumn("u of it", _as_number("evidence", "factor", "standard_uncertainty"), GENERAL, 11),
    _unit("Unit of it", "evidence", "factor", "unit", width=7),
    SheetColumn("Source of it", _at("evidence", "factor", "source"), width=34),
    SheetColumn(
        "Source as declared", lambda row: "; ".join(map(_source_text, _EVIDENCE(row)["sources"])) or None, width=34
    ),
    _typed("u of the method [%]", "evidence", "method", "relative_standard_uncertainty_percent"),
    _typed("ν of the method", "evidence", "method", "degrees_of_freedom"),
    _typed("Shared by its readings [%]", "evidence", "method", "common_standard_uncertainty_percent"),
    _typed("ν of that", "evidence", "method", "common_degrees_of_freedom"),
    _typed("Of each by itself [%]", "evidence", "method", "own_standard_uncertainty_percent"),
    _typed("ν of this", "evidence", "method", "own_degrees_of_freedom"),
    SheetColumn("Basis of the method", _at("evidence", "method", "basis"), width=40),
    _typed("Averaged over [s]", "averaging_s"),
)
# Of the first sheet: what the first page has as a bar and as tables.
OF_STATEMENTS = (
    SheetColumn("Statement", _at("statement")),
    SheetColumn("Design flows", _at("count"), WHOLE),
)
_REPORTED = _FLOW[1:4]  # flow, U, unit
_AGAINST = {column.label: column for column in _DESIGN}
OF_ATTENTION = (
    _OUTLET,
    *_REPORTED,
    *(_AGAINST[label] for label in ("Lowest that conforms", "Highest that conforms")),
    SheetColumn("Statement", _at("statement")),
    _AGAINST["Probability of conformity"],
    SheetColumn("What would settle it; remarks; other measurements", _at("settled"), width=40),
)
OF_SYSTEMS = (
    SheetColumn("System", lambda row: row["system"] or "all systems"),
    _SERVICE,
    *_REPORTED,
    *(_AGAINST[label] for label in ("Design", "% of design", "Conformity")),
    SheetColumn("Outlets measured", lambda row: f"{row['outlets_measured']} of {row['outlets']}"),
)
OF_READINGS = (
    _READING,
    _OUTLET,
    SheetColumn("Room", _at("room"), width=14),
    SheetColumn("Place", _at("place"), width=7),
    _time("Observed", "observed_at"),
    SheetColumn("Stage", _at("stage"), width=16),
    SheetColumn("Instrument", _at("instrument"), width=12),
    SheetColumn("Certificate", _at("certificate"), width=13),
    SheetColumn("Probe", _at("probe", "tag"), width=8),
    SheetColumn("Indication as typed", _at("indication"), width=10),
    SheetColumn("Observations as typed", _observations, width=16),
    SheetColumn("Observations, throttled", _at("throttled_observations"), width=13),
    _unit("Unit", "indication_unit", width=6),
    SheetColumn("Velocity", _at("velocity", "value"), _NEAR_U_OF_VELOCITY, 9),
    SheetColumn("u of velocity", _at("velocity", "standard_uncertainty"), _NEAR_U_OF_VELOCITY, 9),
    _unit("Unit of velocity", "velocity", "unit", width=8),
    SheetColumn("Method", _at("method"), width=16),
    SheetColumn("Conditions", _at("conditions", "name"), width=12),
    SheetColumn("Density [kg/m³]", _at("conditions", "density", "value"), "0.0000", 9),
    SheetColumn("Factor found", _at("found_factor", "factor"), width=13),
    *_WORKED_OUT_FROM,
    SheetColumn("Flags", _joined("flags"), width=20),
    SheetColumn("Operator", _at("operator"), width=12),
    SheetColumn("Remarks", _at("remarks"), width=30),
)
OF_TOTALS = (
    SheetColumn("Of", _at("of"), width=8, names_row=True),
    SheetColumn("System or room", _at("whose"), width=18, names_row=True),
    SheetColumn("Total", total_name, width=34, names_row=True),
    SheetColumn("Measured", _at("outlets_measured"), WHOLE, 9),
    SheetColumn("Outlets", _at("outlets"), WHOLE, 8),
    SheetColumn("State", _at("state"), width=14),
    *_FLOW,
    *_DESIGN,
    SheetColumn("The design asks for", _at("wanted"), width=12),
    SheetColumn("Probability that it is so", _at("probability_as_wanted"), PROBABILITY, 11),
)


def budget_columns(names: Sequence[str]) -> tuple[SheetColumn, ...]:
    """Columns of the budgets: u_i of each contribution, in the unit of the flow."""
    return (
        _READING,
        _OUTLET,
        _unit("Unit", "flow", "unit", width=7),
        *(_of_contribution("u", name, "standard_uncertainty") for name in names),
        SheetColumn("u", _at("flow", "standard_uncertainty"), _NEAR_SMALL_U, 9),
        SheetColumn("Effective ν", _degrees("flow", "effective_degrees_of_freedom"), DEGREES, 9),
    )


def share_columns(names: Sequence[str], limited: Collection[str]) -> tuple[SheetColumn, ...]:
    """Columns of the shares of each contribution in the variance, its degrees of freedom where it has any, and its type."""
    return (
        _READING,
        _OUTLET,
        *(_of_contribution("share [%]", name, "variance_percent", ONE_DECIMAL) for name in names),
        *(_of_contribution("ν", name, "degrees_of_freedom", DEGREES) for name in limited),
        SheetColumn("Evaluated as Type A", _type_a, width=36),
    )


def _of_contribution(label: str, name: str, key: str, shown: Shown | None = None) -> SheetColumn:
    of = _at("by_name", name, key)
    return SheetColumn(f"{label}: {name}", of, shown or _to_two_digits(of), 11)


def _type_a(row: Content) -> str | None:
    return ", ".join(each["name"] for each in row["contributions"] if each["evaluation"] == "A") or None


OF_DECISIONS = (
    SheetColumn("System", lambda row: row["system"] or "whole job", width=14),
    SheetColumn("Judged", _at("judged"), WHOLE, 8),
    SheetColumn("Accepted", _at("accepted"), WHOLE, 9),
    SheetColumn("Expected wrongly accepted", _at("expected_wrongly_accepted"), TWO_DECIMALS, 12),
    SheetColumn("Expected wrongly rejected", _at("expected_wrongly_rejected"), TWO_DECIMALS, 12),
    SheetColumn("Global consumer's risk", _at("global_consumer_risk"), RISK, 12),
    SheetColumn("Global producer's risk", _at("global_producer_risk"), RISK, 12),
    SheetColumn("Mean specific consumer's risk", _at("mean_specific_consumer_risk"), RISK, 12),
    SheetColumn("Mean specific producer's risk", _at("mean_specific_producer_risk"), RISK, 12),
)
_NEAR_U_OF_DIFFERENCE = _to_two_digits(_at("difference", "expanded_uncertainty"))


def _side_columns(place: int, side: str) -> tuple[SheetColumn, ...]:
    near = _to_two_digits(_at(side, "flow", "expanded_uncertainty"))
    symbol = f"q{'₁' if place == 1 else '₂'}"
    return (
        SheetColumn("Measured as" if place == 1 else "And as", lambda row: sides_text(row)[place], width=26),
        SheetColumn(symbol, _at(side, "flow", "value"), near),
        SheetColumn(f"U({symbol})", _at(side, "flow", "expanded_uncertainty"), near, 9),
        SheetColumn(f"k of {symbol}", _at(side, "flow", "coverage_factor"), TWO_DECIMALS, 6),
    )


OF_DRIFT = (
    _SYSTEM,
    _SERVICE,
    _OUTLET,
    _time("Read first", "first_observed_at"),
    _time("Read again", "repeated_at"),
    SheetColumn("Drift [%]", _at("drift_percent"), TWO_DECIMALS, 9),
    SheetColumn("u of the drift [%]", _at("standard_uncertainty_percent"), TWO_DECIMALS, 9),
    SheetColumn("Carried in u [%]", _at("carried_percent"), TWO_DECIMALS, 9),
)
OF_CROSS_CHECKS = (
    SheetColumn("Flow", lambda row: sides_text(row)[0], width=24),
    SheetColumn("Kind", _at("kind"), width=24),
    *(column for place, side in enumerate(("first", "second"), start=1) for column in _side_columns(place, side)),
    SheetColumn("Difference", _at("difference", "value"), _NEAR_U_OF_DIFFERENCE),
    SheetColumn("U of the difference", _at("difference", "expanded_uncertainty"), _NEAR_U_OF_DIFFERENCE),
    SheetColumn("k", _at("difference", "coverage_factor"), TWO_DECIMALS, 6),
    _unit("Unit", "difference", "unit", width=6),
    SheetColumn("State", _at("state"), width=14),
    SheetColumn("Eₙ", _at("normalised_error"), TWO_DECIMALS, 7),
    SheetColumn("Statement", agreement_text, width=22),
    SheetColumn("Remark", _at("remark"), width=40),
)
OF_JOINT = (
    SheetColumn("System", lambda row: row["system"] or "whole job", width=18),
    SheetColumn("Flows judged", _at("outlets"), WHOLE, 9),
    SheetColumn("Probability that all conform", _at("probability"), PROBABILITY, 12),
    SheetColumn("± computed to", _at("numerical_error"), PROBABILITY, 12),
    SheetColumn("If what is not known is common", _at("if_common", "probability"), PROBABILITY, 12),
    SheetColumn("If it is not", _at("if_independent", "probability"), PROBABILITY, 12),
)
OF_REFUSALS = (
    _SYSTEM,
    _OUTLET,
    _SERVICE,
    SheetColumn("Instrument", _at("instrument"), width=11),
    _time("Observed", "observed_at"),
    SheetColumn("Indication as typed", _at("indication"), width=10),
    SheetColumn("Observations as typed", _at("observations"), width=18),
    _unit("Unit", "unit", width=6),
    SheetColumn("Reasons", _joined("reasons", "\n"), width=70),
    SheetColumn("Reading that counts instead", _at("counts_instead"), WHOLE, 12),
    SheetColumn("Operator", _at("operator"), width=14),
    SheetColumn("Remarks", _at("remarks"), width=30),
)
OF_NOT_MEASURED = (
    _SYSTEM,
    _OUTLET,
    _SERVICE,
    SheetColumn("Design", _at("design", "value"), _design_as_written, 9),
    _unit("Unit", "design", "unit", width=6),
    SheetColumn("Why a reading was refused", _joined("reasons"), width=60),
)
OF_PHOTOGRAPHS = (
    _OUTLET,
    SheetColumn("Reading", _at("reading"), WHOLE, 9),
    SheetColumn("File", _at("name"), width=24),
    SheetColumn("Remarks", _at("remarks"), width=50),
    SheetColumn("Kept by", _at("by"), width=18),
    _time("Kept", "at"),
    SheetColumn("SHA-256", _at("sha256"), width=68),
)
OF_CHANGES = (
    SheetColumn("What", _at("what"), width=40),
    SheetColumn("Before", _sentence("before"), width=50),
    SheetColumn("After", _sentence("after"), width=50),
    SheetColumn("Why", _joined("because"), width=60),
)
OF_REVIEWS = (
    SheetColumn("Instrument", _at("instrument"), width=12),
    SheetColumn("Certificate", _at("certificate"), width=16),
    _date("Calibrated", "calibrated_on"),
    _time("Opened", "opened_at"),
    SheetColumn("Readings", _joined("readings", ", "), width=40),
    SheetColumn("Lines of this job", _at("lines"), WHOLE, 9),
    SheetColumn("Open lines of this job", _at("open_lines"), WHOLE, 9),
    SheetColumn("Open lines in all", _at("open_lines_in_all"), WHOLE, 9),
)
OF_DECIDED_REVIEWS = (
    SheetColumn("Review", _at("review"), WHOLE, 9),
    SheetColumn("Instrument", _at("instrument"), width=12),
    SheetColumn("What was found", _at("happened"), width=40),
    SheetColumn("Readings", _joined("readings", ", "), width=24),
    SheetColumn("What was decided", decided_text, width=60),
    SheetColumn("Of single lines", disposed_text, width=60),
)
OF_AMENDMENTS = (
    SheetColumn("Revision", _at("revision"), WHOLE, 9),
    SheetColumn("Record", _at("record"), width=26),
    SheetColumn("Column", _at("column"), width=24),
    SheetColumn("Before", _at("before"), width=24),
    SheetColumn("After", _at("after"), width=24),
    SheetColumn("Reason", _at("reason"), width=40),
    SheetColumn("By", _at("by"), width=14),
    _time("At", "at"),
)
OF_FLOWS_BEFORE = (
    SheetColumn("Revision", _at("revision"), WHOLE, 9),
    SheetColumn("Record", _at("record"), width=26),
    _READING,
    SheetColumn("State", _at("state"), width=8),
    *_FLOW,
)
OF_CONDITIONS = (
    SheetColumn("Conditions", _at("name"), width=16),
    SheetColumn("Quantity", _at("quantity"), width=20),
    _typed("Value as typed", "value", width=12),
    _unit("Unit", "unit", width=8),
    SheetColumn("u", _at("standard_uncertainty"), _OWN_DIGITS, 10),
    _time("Observed", "observed_at"),
    SheetColumn("Instrument", _at("instrument"), width=11),
    SheetColumn("Source", _at("source"), width=30),
)
OF_POINTS = (
    _OUTLET,
    SheetColumn("Line", _at("line"), width=7),
    SheetColumn("Point", _at("point"), width=7),
    SheetColumn("Weight", _at("weight"), GENERAL, 9),
    SheetColumn("Indications as typed", _at("indications_as_typed"), width=24),
    SheetColumn("Velocity", _at("velocity"), "0.000", 9),
    _unit("Unit", "unit", width=6),
    SheetColumn("Rule", _at("rule"), width=18),
    _READING,
)
OF_INSTRUMENTS = (
    _TAG,
    SheetColumn("Kind", _at("kind"), width=18),
    SheetColumn("Maker", _at("maker"), width=20),
    SheetColumn("Model", _at("model"), width=12),
    SheetColumn("Serial", _at("serial"), width=12),
    SheetColumn("Certificate", _at("certificate"), width=14),
    SheetColumn("Laboratory", _at("laboratory"), width=24),
    SheetColumn("Accreditation", _at("accreditation"), width=24),
    _date("Calibrated", "calibrated_on"),
    _date("Accepted", "accepted_on"),
    SheetColumn("Recorded later", accepted_later, width=24),
    _date("Due", "due_on"),
    SheetColumn("Measuring interval", _sentence("measuring_interval"), width=24),
    SheetColumn("Reference standards", _joined("reference_standards", ", "), width=16),
)
OF_COMPARISONS = (
    _TAG,
    SheetColumn("Certificate", _at("certificate"), width=14),
    SheetColumn("Phase", _at("phase"), width=10),
    _typed("Reference", "reference", width=11),
    _unit("Unit", "unit", width=8),
    _typed("Indication", "indication", width=11),
    SheetColumn("Unit of indication", lambda row: unit_text(row["indication_unit"] or row["unit"]), width=10),
    _typed("U", "expanded_uncertainty", width=10),
    _typed("k", "coverage_factor", width=8),
    _typed("Repeatability", "repeatability", width=13),
    _typed("Observations", "observations", width=13),
    SheetColumn("Residual", _at("residual"), GENERAL, 13),
    _unit("Unit of residual", "residual_unit", width=10),
)
OF_BUDGETS_IN_FULL = (
    _READING,
    SheetColumn("Symbol", lambda row: "".join(letter_and_subscript(row["symbol"]) or row["symbol"]), width=12),
    SheetColumn("Quantity", _at("name"), width=36),
    SheetColumn("Estimate", _at("estimate"), GENERAL, 13),
    _unit("Unit", "unit", width=8),
    SheetColumn("u", _at("standard_uncertainty"), _OWN_DIGITS, 12),
    SheetColumn("Type", _at("evaluation"), width=6),
    SheetColumn("Distribution", _at("distribution"), width=14),
    SheetColumn("ν", _degrees("degrees_of_freedom"), DEGREES, 9),
    SheetColumn("Sensitivity coefficient c", _at("sensitivity_coefficient"), GENERAL, 13),
    _unit("Unit of c", "sensitivity_unit", width=16),
    SheetColumn("c·u", _at("contribution"), _to_two_digits(_at("contribution")), 12),
    SheetColumn("Share of u² [%]", _at("variance_percent"), ONE_DECIMAL, 10),
)
OF_LINES_OF_TOTALS = (
    SheetColumn("Of", _at("of"), width=8, names_row=True),
    SheetColumn("System or room", _at("whose"), width=18, names_row=True),
    SheetColumn("Total", total_name, width=34, names_row=True),
    SheetColumn("Contribution", _at("name"), width=20),
    SheetColumn("u", _at("standard_uncertainty"), _OWN_DIGITS, 12),
    _unit("Unit", "flow", "unit", width=7),
    SheetColumn("ν", _degrees("degrees_of_freedom"), DEGREES, 9),
    SheetColumn("Share of u² [%]", _at("variance_percent"), ONE_DECIMAL, 10),
)
OF_FOUND_FACTORS = (
    SheetColumn("Factor", _at("factor"), width=12),
    SheetColumn("Revision", _at("revision"), WHOLE, 9),
    SheetColumn("K", _at("value"), GENERAL, 11),
    SheetColumn("u, same calibration", _at("same_calibration", "standard_uncertainty"), GENERAL, 11),
    SheetColumn("u, after a recalibration", _at("recalibrated", "standard_uncertainty"), GENERAL, 11),
    SheetColumn("Instrument", _at("instrument"), width=11),
    SheetColumn("Certificate", _at("certificate"), width=13),
    SheetColumn("Method", _at("method"), width=16),
    SheetColumn("Reading in the duct", _at("pair", "traverse"), WHOLE, 9),
    SheetColumn("Duct", _at("pair", "duct"), width=20),
    SheetColumn("Reading at the face", _at("pair", "face"), WHOLE, 9),
    SheetColumn("Outlet", _at("pair", "outlet"), width=20),
    SheetColumn("Indication at the face", _at("pair", "indication", "value"), GENERAL, 11),
    _unit("Unit", "pair", "indication", "unit", width=7),
    SheetColumn("K of the pair", _at("pair", "value"), GENERAL, 11),
    SheetColumn("Found by", _at("found_by"), width=14),
    _time("Found", "found_at"),
    SheetColumn("Reason", _at("reason"), width=40),
    SheetColumn("Cautions", _joined("cautions"), width=60),
)
OF_COEFFICIENTS = (
    _TAG,
    SheetColumn("Certificate", _at("certificate"), width=14),
    SheetColumn("Made from", _at("made_from"), width=10),
    SheetColumn("Shape", _at("shape"), width=13),
    SheetColumn("Formula", lambda row: with_powers(row["formula"]), width=36),
    _unit("Unit", "unit", width=9),
    SheetColumn("Coefficient", _at("coefficient_name"), width=12),
    SheetColumn("Value", _at("coefficient"), GENERAL, 16),
    SheetColumn("Standard uncertainty", _at("uncertainty"), GENERAL, 16),
    *(
        SheetColumn(f"Correlation with the {said}", _one_of("correlations", place), GENERAL, 13)
        for place, said in _BEFORE
    ),
    SheetColumn("Chi-squared", _at("chi_squared"), TWO_DECIMALS, 9),
    SheetColumn("Degrees of freedom", _at("degrees_of_freedom"), WHOLE, 9),
    SheetColumn("Probability", _at("probability"), "0.000", 10),
    SheetColumn("Scatter enlarged by", _at("scatter_enlarged_by"), TWO_DECIMALS, 9),
    SheetColumn("Chosen by", _at("chosen_by"), width=10),
    SheetColumn("Reason", _at("reason"), width=40),
)
