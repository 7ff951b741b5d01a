"""Put a certificate that its laboratory reissued in the place of the old one, without a gap.

Where every value is the same (comparisons, uncertainties, correlations, the day of the calibration and its due date) the acceptance
carries over, and a curve that a person chose; what was measured is answered by the new certificate at once. Where one differs the
new certificate waits for its acceptance, and the old one counts until then; accepting it opens an impact review of what the
records answer otherwise since (calib.procedures.impact.certificate_replaced). The review of what the old one was found to be stays
the review of both. Source: ISO/IEC 17025:2017, 7.8.8 (a reissued report names the one that it replaces), from memory.

Decision (2026-11-29). Values are compared as numbers, in the order of the certificate. Options: the digits as typed (2.50 and 2.5
would be asked for again), each reading's answer (a certificate on which nothing rests yet would have none). Cost: a comparison
that moved within the certificate counts as another value.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from calib.confirmation.interval import Decision, gate
from calib.errors import BadInputError, Finding
from calib.procedures.on_record.calibrations import CalibrationOnFile, against_withdrawn, calibration_on_file
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.supersessions import in_place_of, place_of
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.reason import without_reason
from calib.procedures.verify.rests_on import must_be_whole, of_instruments
from calib.records import ledger
from calib.records.record import key, typed
from calib.records.tables.calibrations import Acceptance
from calib.records.tables.curves import StoredCurve
from calib.records.tables.supersessions import Supersession
from calib.records.words import BY_THE_RULE

_OF_CALIBRATION = ("calibrated_on", "due_on", "adjustment")


@dataclass(frozen=True)
class Superseded:
    """A certificate that another takes the place of."""

    old: CalibrationOnFile
    new: CalibrationOnFile  # as it is on file now
    differs: tuple[str, ...]  # where its values are others; none: its acceptance was carried over
    decision: Decision  # of the gate on the instrument, now


def supersede_calibration(
    session: Session, tag: str, certificates: tuple[str, str], reason: str, signature: ledger.Signature
) -> Superseded:
    """Append that the second of two certificates was reissued for the first; with the acceptance where the values are the same.

    Raises NotInRecordsError; BadInputError, nothing written, where the two cannot take each other's place, there is no reason, or
    the person may not; DamagedError where what they rest on was changed past the program.
    """
    signature = authorise(session, signature, "supersede")
    old, new = (calibration_on_file(session, tag, certificate) for certificate in certificates)
    findings = [*_findings(session, old, new), *without_reason(reason, "why it was reissued, in a few words")]
    if findings:
        raise BadInputError(findings)
    must_be_whole(session, of_instruments(session, [key(old.instrument.id)]))
    differs = tuple(_differences(old, new))
    supersession = Supersession(
        old_calibration_id=key(old.calibration.id),
        calibration_id=key(new.calibration.id),
        reason=reason.strip(),
        same_values="no" if differs else "yes",
    )
    append(session, [supersession], signature)
    if not differs and old.acceptance is not None:
        append(session, [*_chosen_curve(old, new), _carried(old.acceptance, old, new, reason)], signature)
    register = load_register(session, [key(old.instrument.id)])
    on_file = calibration_on_file(session, tag, new.calibration.certificate)
    return Superseded(old, on_file, differs, gate(register, tag, signature.time, signature.time))


def _carried(acceptance: Acceptance, old: CalibrationOnFile, new: CalibrationOnFile, reason: str) -> Acceptance:
    cells = typed(acceptance, "id", "calibration_id", "reason", "carried_from_id")
    return Acceptance(
        **cells,
        calibration_id=key(new.calibration.id),
        reason=in_place_of(old.calibration.certificate, reason),
        carried_from_id=acceptance.id,
    )


def _chosen_curve(old: CalibrationOnFile, new: CalibrationOnFile) -> list[StoredCurve]:
    """The curve that a person chose for the old certificate: the rule makes the same one of the same values."""
    if old.curve.chosen_by == BY_THE_RULE:
        return []
    return [StoredCurve(**typed(old.curve, "id", "calibration_id"), calibration_id=key(new.calibration.id))]


def _findings(session: Session, old: CalibrationOnFile, new: CalibrationOnFile) -> list[Finding]:
    if old.calibration.id == new.calibration.id:
        return [Finding.typed("new", new.calibration.certificate, "another certificate than the one that it replaces")]
    findings = [
        Finding.typed(column, finding.value, finding.expected)
        for column, on_file in (("old", old), ("new", new))
        if (finding := against_withdrawn(on_file)) is not None
    ]
    if findings:
        return findings
    certificate = new.calibration.certificate
    taken = place_of(session, key(new.calibration.id))
    if old.superseded is not None:
        by = old.superseded["by_certificate"]
        findings.append(
            Finding.typed("old", old.calibration.certificate, f"one that was not reissued yet; it was as {by}")
        )
    if taken is not None:
        expected = f"a certificate that reissues none yet; it takes the place of {taken.old.certificate}"
        findings.append(Finding.typed("new", certificate, expected))
    if new.superseded is not None:
        findings.append(
            Finding.typed("new", certificate, f"the latest; it was reissued as {new.superseded['by_certificate']}")
        )
    if new.acceptance is not None:
        expected = f"one that is not accepted yet, and takes over the acceptance; it was accepted on {new.acceptance.accepted_on}"
        findings.append(Finding.typed("new", certificate, expected))
    if new.calibration.laboratory != old.calibration.laboratory:
        expected = f"a certificate of {old.calibration.laboratory}, which reissues its own; it is of {new.calibration.laboratory}"
        findings.append(Finding.typed("new", certificate, expected))
    return findings


# --- whether the values are the same ---------------------------------------------------------------------------------------------


def _differences(old: CalibrationOnFile, new: CalibrationOnFile) -> list[str]:
    """Where two certificates state other values, in words."""
    before, after = typed(old.calibration), typed(new.calibration)
    told = [
        f"{column}: {before.get(column) or 'none'} before, {after.get(column) or 'none'} now"
        for column in _OF_CALIBRATION
        if before.get(column) != after.get(column)
    ]
    told += (
        [f"reference standards: {_joined(old)} before, {_joined(new)} now"] if old.standards != new.standards else []
    )
    own, others = (
        [_values(typed(each, "id", "calibration_id")) for each in on_file.comparisons] for on_file in (old, new)
    )
    if len(own) != len(others):
        told.append(f"comparisons: {len(own)} before, {len(others)} now")
    else:
        told += [
            f"comparison {place}: {', '.join(name for name in {**was, **now} if was.get(name) != now.get(name))}"
            for place, (was, now) in enumerate(zip(own, others, strict=True), 1)
            if was != now
        ]
    stated = [[_values({**each, "id": None}) for each in on_file.correlations] for on_file in (old, new)]
    return told + (["correlations"] if stated[0] != stated[1] else [])


def _joined(on_file: CalibrationOnFile) -> str:
    return ", ".join(on_file.standards) or "none"


def _values(cells: Mapping[str, Any]) -> dict[str, float | str]:
    """Filled cells, numbers as such."""
    return {name: _number(str(cell)) for name, cell in cells.items() if cell is not None}


def _number(cell: str) -> float | str:
    try:
        return float(cell)
    except ValueError:
        return cell
