"""What instruments, certificates and comparisons must hold together: with one another and with the records.

Each function returns every finding; cells that are wrong by themselves have been named before and are passed over here.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date

from calib.confirmation.interval import add_months
from calib.errors import Finding
from calib.measurement.ways import THROTTLED, WITH_EFFECT, WITH_THROTTLE, effects_of, way_of, with_reference_state
from calib.procedures.certificate.fit_curve import indication_quantity
from calib.procedures.certificate.phase import AS_FOUND, phase_in_use
from calib.procedures.on_record.recorded import holds_from_earlier, why_from
from calib.procedures.typed.rows_together import KnownNames, duplicate, repeated, unit_known
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow

_OF_ACCEPTANCE = ("accepted_by", "criterion", "decision_rule", "departure_reason", "reason")


def certificate_findings(named: KnownNames, retired_since: Callable[[str], str | None]) -> list[Finding]:
    """All findings on instruments, calibrations and comparisons; whether curves come of them, fitting shows."""
    return [*_instruments(named, retired_since), *_calibrations(named), *_comparisons(named)]


def use_findings(sheets: Sheets) -> list[Finding]:
    """All findings on adjustments, and on the cells that go with an acceptance."""
    return [*_adjustments(sheets), *_acceptances(sheets["calibrations.csv"])]


def past_findings(rows: Sequence[TypedRow], today: date) -> list[Finding]:
    """All findings on acceptances that hold from a day before today and do not say why."""
    accepted = [(row, date.fromisoformat(row.cells["accepted_on"])) for row in rows if row.sound("accepted_on")]
    return [
        row.finding("reason", why_from(on)) for row, on in accepted if holds_from_earlier(on, today, row.get("reason"))
    ]


def _instruments(named: KnownNames, retired_since: Callable[[str], str | None]) -> Iterable[Finding]:
    yield from repeated(named, "instruments.csv", recorded={})
    on_record = named.known["instruments.csv"] if named.sheets["instruments.csv"] else {}
    for row in named.sheets["instruments.csv"]:
        own = on_record.get((row.cells.get("tag", ""),))
        if own is not None:
            yield duplicate(row, ("tag",), _given(own, retired_since(row.cells["tag"])))
        yield from instrument_findings(row)


def _given(own: Cells, retired_since: str | None) -> str:
    """What was expected of a tag that an instrument on record has: it is its own for good."""
    bearer = f"{own['kind']}, {own['maker']} {own['model']}, serial {own['serial']}"
    if retired_since is None:
        return f"a new one; the records hold it already: {bearer} (leave the row out)"
    return f"a new one; it was that of {bearer}, retired {retired_since}, whose records stay: no tag is given twice"


def instrument_findings(row: TypedRow) -> Iterable[Finding]:
    """What an instrument's cells must hold together, when it is first typed or amended."""
    yield from unit_known(row, "unit", indication_quantity(row.cells))
    if row.sound("range_low", "range_high") and not float(row.cells["range_low"]) < float(row.cells["range_high"]):
        yield row.finding("range_high", f"a number above range_low ({row.cells['range_low']})")
    stability = not (row.blank("stability_percent") and row.blank("stability_absolute"))
    if row.blank("mpe_percent") and row.blank("mpe_absolute") and not stability:
        yield row.finding("mpe_percent", "a maximum permissible error (mpe_percent, mpe_absolute) or stability limits")
    if stability and row.blank("stability_basis"):
        yield row.finding("stability_basis", "what the stability limits rest on")
    yield from _of_kind(row)


_NO_EFFECT = f"nothing for an instrument that does not measure {' or '.join(WITH_EFFECT)}"


def _of_kind(row: TypedRow) -> Iterable[Finding]:
    """What only some ways of measuring have: a reference state, a throttle."""
    quantity, effect = row.get("quantity"), row.get("density_effect")
    if effect is not None and quantity is not None and effect not in effects_of(quantity):
        possible = f"one of {', '.join(effects_of(quantity))}" if effects_of(quantity) else _NO_EFFECT
        yield row.finding("density_effect", possible)
        effect = None  # found wrong: nothing else is asked for its sake
    with_state = with_reference_state()
    for column in ("reference_temperature_degC", "reference_pressure_kPa"):
        if effect in with_state and row.blank(column):
            yield row.finding(
                column, f"the reference state at which a {with_state[effect].instrument} indicates velocity"
            )
        elif effect not in with_state and row.sound(column) and "density_effect" not in row.bad:
            yield row.finding(column, f"nothing, since density_effect is not {' or '.join(with_state)}")
    way = way_of(quantity, effect)
    if row.sound("resistance_ratio") and quantity is not None and (way is None or way.throttled is None):
        quantities = " or ".join(WITH_THROTTLE)
        yield row.finding(
            "resistance_ratio", f"nothing for an instrument that is no {THROTTLED} (quantity {quantities})"
        )
    elif row.sound("resistance_ratio") and row.blank("resistance_ratio_standard_uncertainty"):
        yield row.finding("resistance_ratio_standard_uncertainty", "the standard uncertainty of the resistance ratio")
    elif row.blank("resistance_ratio") and row.sound("resistance_ratio_standard_uncertainty"):
        yield row.finding("resistance_ratio_standard_uncertainty", "nothing without resistance_ratio")


def _calibrations(named: KnownNames) -> Iterable[Finding]:
    rows = named.sheets["calibrations.csv"]
    yield from repeated(named, "calibrations.csv", step=_leave_out_or_correct(rows))
    others = [row for row in rows if row.sound("tag", "laboratory", "certificate")]
    tags = defaultdict(set)
    for row in others:
        tags[_numbered(row)].add(row.cells["tag"])
    on_record = named.known["calibrations.csv"] if others else {}
    given = {(str(cells["laboratory"]), certificate) for (_, certificate), cells in on_record.items()}
    for row in others:
        of_another = _numbered(row) in given and (row.cells["tag"], row.cells["certificate"]) not in on_record
        if len(tags[_numbered(row)]) > 1 or of_another:
            yield duplicate(
                row, ("certificate",), "a certificate number that the laboratory gave to one calibration only"
            )
    reissued = {certificate_of(row) for row in named.sheets["supersessions.csv"]}
    for row in rows:
        yield from named.unknown(row, "calibrations.csv", "tag")
        yield from _dates(row, named.instruments)
        if certificate_of(row) not in reissued:  # which takes over the acceptance of the certificate before
            yield from _before_issue(row)
        yield from _reference_standards(row, named)


def _numbered(row: TypedRow) -> tuple[str, str]:
    """What a laboratory calls a calibration."""
    return row.cells["laboratory"], row.cells["certificate"]


def _leave_out_or_correct(rows: Sequence[TypedRow]) -> str:
    """What to do about a certificate that is on record: to type it again corrects nothing."""
    step = "if it was typed wrong there, withdraw it and record the right one under a number that says so"
    return step if all(row.row_number is None for row in rows) else f"leave the row out; {step}"


def _dates(row: TypedRow, instruments: Mapping[str, Cells]) -> Iterable[Finding]:
    if not row.sound("calibrated_on"):
        return
    calibrated = date.fromisoformat(row.cells["calibrated_on"])
    for column in ("accepted_on", "due_on", "issued_on"):
        cell = row.get(column)
        if cell is not None and date.fromisoformat(cell) < calibrated:
            yield row.finding(column, f"a date on or after calibrated_on ({calibrated})")
    received = row.get("received_on")
    if received is not None and date.fromisoformat(received) > calibrated:
        yield row.finding("received_on", f"a date on or before calibrated_on ({calibrated})")
    instrument = instruments.get(row.get("tag") or "")
    months = None if instrument is None else instrument.get("interval_months")
    due = row.get("due_on")
    if months is not None and due is not None:
        end = add_months(calibrated, int(months))
        if date.fromisoformat(due) > end:
            yield row.finding("due_on", f"no later date than the calibration interval of {months} months gives ({end})")


def _before_issue(row: TypedRow) -> Iterable[Finding]:
    calibrated, issued, accepted = (row.get(name) for name in ("calibrated_on", "issued_on", "accepted_on"))
    if calibrated is not None and issued is not None and accepted is not None and calibrated <= accepted < issued:
        yield row.finding("accepted_on", f"a date on or after issued_on ({issued})")


def _reference_standards(row: TypedRow, named: KnownNames) -> Iterable[Finding]:
    typed = row.get("standards")
    if typed is None:
        return
    tags = standard_tags(typed)
    undecided = named.undecided("instruments.csv")
    unknown = [tag for tag in tags if (tag not in named.instruments and not undecided) or tag == row.get("tag")]
    if unknown or len(set(tags)) < len(tags) or not tags:
        yield row.finding(
            "standards", "tags of other instruments in instruments.csv or in the records, joined by ;, each once"
        )


def standard_tags(cell: str) -> list[str]:
    """Tags of the reference standards in a cell."""
    return [tag.strip() for tag in cell.split(";") if tag.strip()]


def _comparisons(named: KnownNames) -> Iterable[Finding]:
    for row in named.sheets["comparisons.csv"]:
        names = (row.get("tag") or "", row.get("certificate") or "")
        if row.sound("tag", "certificate") and names in named.known["calibrations.csv"]:
            if "certificate" in row.given:
                continue
            yield row.finding(
                "certificate", "a new certificate; the records hold this one, and a certificate is recorded whole"
            )
        else:
            yield from named.unknown(row, "comparisons.csv", "tag", "certificate")
        instrument = named.instruments.get(row.get("tag") or "")
        if instrument is not None:
            yield from _units_of_comparison(row, instrument)


def _units_of_comparison(row: TypedRow, instrument: Cells) -> Iterable[Finding]:
    quantity, indicated = instrument.get("quantity"), indication_quantity(instrument)
    yield from unit_known(row, "unit", quantity)
    yield from unit_known(row, "indication_unit", indicated)
    if quantity != indicated and row.blank("indication_unit"):
        yield row.finding("indication_unit", f"the unit of the indication, since the instrument indicates {indicated}")


def _adjustments(sheets: Sheets) -> Iterable[Finding]:
    """Adjusted, and no comparisons as left: there is no curve of the instrument as it is now."""
    adjusted = [row for row in sheets["calibrations.csv"] if row.get("adjustment") == "yes"]
    if not adjusted or any(row.bad for row in sheets["comparisons.csv"]):
        return
    comparisons = by_certificate(sheets["comparisons.csv"])
    for row in adjusted:
        own = comparisons[certificate_of(row)]
        if own and phase_in_use(each.get("phase") for each in own) == AS_FOUND:
            yield row.finding(
                "adjustment", "no, or comparisons as left: those as found do not hold after an adjustment"
            )


def certificate_of(row: TypedRow) -> tuple[str | None, str | None]:
    """The calibration that a row speaks of."""
    return row.get("tag"), row.get("certificate")


def by_certificate(rows: Iterable[TypedRow]) -> Mapping[tuple[str | None, str | None], list[TypedRow]]:
    """Rows by the calibration that they speak of; none of one of which there are none."""
    of_calibrations: dict[tuple[str | None, str | None], list[TypedRow]] = defaultdict(list)
    for row in rows:
        of_calibrations[certificate_of(row)].append(row)
    return of_calibrations


def _acceptances(rows: Sequence[TypedRow]) -> Iterable[Finding]:
    for row in rows:
        if row.blank("accepted_on"):
            for column in _OF_ACCEPTANCE:
                if not row.blank(column) and column not in row.bad:
                    yield row.finding(column, "nothing without accepted_on")
        if row.blank("decision_rule") and not row.blank("judged") and "judged" not in row.bad:
            yield row.finding("judged", "nothing without decision_rule")
