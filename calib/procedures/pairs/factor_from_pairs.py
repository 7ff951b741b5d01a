"""Find an outlet factor in the field: readings in a duct, each paired with one at the face of the outlet that the duct feeds.

    K_i = q_i/(v_i A)         of each pair; K is their mean

q_i is the flow in the duct, v_i the corrected velocity at the face, A the area of the opening as it counts now.

    relative standard uncertainty of K
    spread        s/(sqrt(n) K) of the pairs for the outlet itself, n-1 degrees of freedom: whatever is new in each pair; for
                  another outlet of the type s sqrt(1 + 1/n)/K, since it may differ from the mean as the pairs do
    reference     what the pairs share of their traverses: everything in their budgets but repeatability and resolution, which the
                  spread shows. The same manometer, duct and method make the same error each time, so the mean over the pairs of
                  the relative root sums of squares counts whole, and no number of pairs brings it down
    instrument    scatter, reference part and stability of the calibration at the face; cancels where a reading uses the factor with
                  the same calibration, and counts after a recalibration

A density of the air that the velocity at the face needs counts with the reference, against that of the traverse where both rest on
the same conditions of one job; so do the dimensions of the openings in a factor for a type: there K bears the error of A. A factor
for one outlet is used as the effective area K A, which no dimension enters.
Sources: common practice, no source; GUM 4.2.3, 5.1.2, 5.2.2.
"""

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from sqlmodel import Session, col, select

from calib.airflow.factor import FactorOfPairs, found_factor
from calib.errors import BadInputError, Finding
from calib.measurement import DECIDED, METHOD, indication_scale
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.procedures.measure.standing import Standing, section_of
from calib.procedures.on_record.factors import factor_that_counts
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.pairs.paired_readings import (
    PAIR,
    Paired,
    flow,
    measured,
    pairs_of,
    relative_ratio_uncertainty,
    relative_uncertainty_of_velocity,
    velocity,
)
from calib.procedures.people.authorise import append
from calib.procedures.typed.reason import without_reason
from calib.quantities import unit
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.words import DUCT, THIS_OUTLET, THIS_TYPE

FACTOR_SCOPES = {"outlet": THIS_OUTLET, "type": THIS_TYPE}

_SHOWN_BY_THE_SPREAD = frozenset({"repeatability", "resolution"})
_OF_THE_CALIBRATION = frozenset({"calibration scatter", "reference standard", "stability", DECIDED})
_OF_THE_FLOW_AT_THE_FACE = METHOD | {"outlet factor"}  # the velocity alone makes the factor


@dataclass(frozen=True)
class FactorWanted:
    """What is asked for, as typed."""

    name: str
    pairs: Sequence[str]  # TRAVERSE:FACE by the numbers of the readings
    scope: str  # "outlet" or "type"
    outlet_type: str | None
    reason: str


@dataclass(frozen=True)
class FactorFound:
    """A factor that was found and recorded, and its pairs in the order in which they were typed."""

    record: FoundFactor
    pairs: tuple[Paired, ...]
    remarks: tuple[str, ...] = ()  # of impact reviews that it adds to


def found_from_pairs(session: Session, wanted: FactorWanted, signature: ledger.Signature) -> FactorFound:
    """Find a factor and record it with its pairs, whatever hangs on it. Raises BadInputError with every finding."""
    pairs = pairs_of(session, wanted.pairs, signature.time, finding_factors=True)
    # A reading that is none of a face is named once, and not asked for its outlet.
    faces = [pair for pair in pairs.sound if _expected_of_face(pair) is None]
    findings = [
        *pairs.findings,
        *_of_words(wanted),
        *_of_faces(pairs.sound, faces),
        *_of_scope(wanted, faces),
        *_of_name(session, wanted, faces),
    ]
    if findings:
        raise BadInputError(findings)
    factor = _factor_of(pairs.sound)
    record = _record(session, wanted, pairs.sound, factor)
    append(session, [record], signature)
    append(session, _pair_records(key(record.id), pairs.sound, factor), signature)
    return FactorFound(record, pairs.sound)


def found_again(session: Session, factor: FoundFactor, reason: str, signature: ledger.Signature) -> FoundFactor:
    """Find a factor again from the same pairs and record it as the next revision. Raises BadInputError with every finding."""
    pairs = select(FactorPair).where(FactorPair.found_factor_id == factor.id).order_by(col(FactorPair.id))
    names = [f"{pair.traverse_reading_id}:{pair.face_reading_id}" for pair in session.exec(pairs)]
    words = {scope: word for word, scope in FACTOR_SCOPES.items()}
    wanted = FactorWanted(factor.factor, names, words[factor.scope], factor.outlet_type, reason)
    return found_from_pairs(session, wanted, signature).record


# --- what is wrong ---------------------------------------------------------------------------------------------------------------


def _finding(column: str, value: str | None, expected: str) -> Finding:
    return Finding.typed(column, value, expected)


def _of_words(wanted: FactorWanted) -> Iterator[Finding]:
    if not wanted.name.strip():
        yield _finding("name", wanted.name, "a name for the factor")
    yield from without_reason(wanted.reason, "why, in a few words; of a later revision what changed")
    if wanted.scope not in FACTOR_SCOPES:
        yield _finding("scope", wanted.scope, f"one of {', '.join(FACTOR_SCOPES)}")
    if wanted.scope == "outlet" and wanted.outlet_type is not None:
        yield _finding("outlet_type", wanted.outlet_type, "nothing beside the scope outlet")


def _of_faces(pairs: Sequence[Paired], faces: Sequence[Paired]) -> Iterator[Finding]:
    for pair in pairs:
        expected = _expected_of_face(pair) or _expected_of_flow(pair) or _expected_beside(faces[0], pair)
        if expected is not None:
            yield _finding(PAIR, pair.typed, expected)


def _expected_of_face(pair: Paired) -> str | None:
    face = measured(pair.other)
    if face.outlet.place == DUCT:
        return f"the reading at an outlet second; reading {face.reading.id} was taken in the duct {face.outlet.outlet}"
    if not way_of_instrument(face.instrument).is_of_a_face:
        with_which = f"{face.instrument.tag}, for {face.instrument.quantity}"
        return f"an instrument for air velocity at the face; reading {face.reading.id} was taken with {with_which}"
    return None


def _expected_of_flow(pair: Paired) -> str | None:
    if flow(pair.traverse) > 0 and velocity(pair.other) > 0:
        return None
    return f"air that moves: {flow(pair.traverse):.4g} m3/s in the duct, {velocity(pair.other):.4g} m/s at the face"


def _expected_beside(first: Paired, pair: Paired) -> str | None:
    used, before = _used(measured(pair.other)), _used(measured(first.other))
    if used == before:
        return None
    face = measured(pair.other).reading.id
    return f"at every face the same ({before}); reading {face} was taken with {used}"


def _used(face: Standing) -> str:
    return f"{face.instrument.tag}, certificate {face.calibration.certificate}, method {face.method.method}"


def _of_scope(wanted: FactorWanted, pairs: Sequence[Paired]) -> Iterator[Finding]:
    if pairs and wanted.scope == "outlet":
        yield from _of_one_outlet(pairs)
    elif pairs and wanted.scope == "type":
        yield from _of_one_type(pairs, _type_of(wanted, pairs))


def _of_one_outlet(pairs: Sequence[Paired]) -> Iterator[Finding]:
    first = measured(pairs[0].other).outlet
    for pair in pairs:
        face = measured(pair.other)
        if face.outlet.id != first.id:
            where = f"reading {face.reading.id} was taken at {face.outlet.outlet}"
            yield _finding(PAIR, pair.typed, f"readings at {first.outlet} alone, or the scope type; {where}")


def _type_of(wanted: FactorWanted, pairs: Sequence[Paired]) -> str | None:
    return wanted.outlet_type or measured(pairs[0].other).outlet.outlet_type


def _of_one_type(pairs: Sequence[Paired], outlet_type: str | None) -> Iterator[Finding]:
    if outlet_type is None:
        name = measured(pairs[0].other).outlet.outlet
        yield _finding("outlet_type", None, f"the type; none is on record for outlet {name}: amend it")
        return
    for pair in pairs:
        outlet = measured(pair.other).outlet
        if outlet.outlet_type != outlet_type:
            other = f"{outlet.outlet} has {outlet.outlet_type!r}" if outlet.outlet_type else f"{outlet.outlet} has none"
            yield _finding(PAIR, pair.typed, f"readings at outlets of the type {outlet_type!r}; {other}")
        elif outlet.shape is None:
            why = "since the factor of a type multiplies the area"
            yield _finding(PAIR, pair.typed, f"outlets with a shape on record, {why}; {outlet.outlet} has none")


def _of_name(session: Session, wanted: FactorWanted, pairs: Sequence[Paired]) -> Iterator[Finding]:
    """A name keeps its meaning: outlets and readings rely on it."""
    before = factor_that_counts(session, wanted.name.strip())
    if before is None or not pairs or wanted.scope not in FACTOR_SCOPES:
        return
    if _meaning(before) != _meaning_wanted(wanted, pairs):
        yield _finding("name", wanted.name, f"another name; {_meaning_in_words(session, before)}")


def _meaning(factor: FoundFactor) -> tuple[object, ...]:
    return factor.scope, factor.outlet_id, factor.outlet_type, factor.instrument_id, factor.method_id


def _meaning_wanted(wanted: FactorWanted, pairs: Sequence[Paired]) -> tuple[object, ...]:
    face = measured(pairs[0].other)
    return FACTOR_SCOPES[wanted.scope], *_where(wanted, pairs), face.instrument.id, face.method.id


def _meaning_in_words(session: Session, factor: FoundFactor) -> str:
    outlet, instrument, method = (
        session.get_one(Outlet, factor.outlet_id).outlet if factor.outlet_id is not None else "",
        session.get_one(Instrument, factor.instrument_id).tag,
        session.get_one(Method, factor.method_id).method,
    )
    where = f"outlet {outlet}" if outlet else f"outlets of the type {factor.outlet_type!r}"
    return f"{factor.factor} is on record for {where} with {instrument}, method {method}, and readings rely on that"


# --- what is recorded ------------------------------------------------------------------------------------------------------------


def _where(wanted: FactorWanted, pairs: Sequence[Paired]) -> tuple[int | None, str | None]:
    """The outlet, or the type of outlet, for which the factor holds."""
    if wanted.scope == "outlet":
        return measured(pairs[0].other).outlet.id, None
    return None, _type_of(wanted, pairs)


def _factor_of(pairs: Sequence[Paired]) -> FactorOfPairs:
    reference = np.array([flow(pair.traverse) for pair in pairs])
    face = np.array([velocity(pair.other) for pair in pairs])
    return found_factor(reference, face, np.array([_area(measured(pair.other)) for pair in pairs]))


def _area(face: Standing) -> float:
    """Area of the opening [m2]: of its section, or the effective one where no section is on record."""
    outlet = face.outlet
    if outlet.shape is not None:
        return section_of(outlet).area
    if outlet.effective_area is not None:
        return unit("area", str(outlet.effective_area_unit)).to_si(float(outlet.effective_area))
    assert face.factor is not None and face.factor.effective_area is not None  # noqa: S101, PT018 (the reading stands)
    return face.factor.effective_area


def _record(session: Session, wanted: FactorWanted, pairs: Sequence[Paired], factor: FactorOfPairs) -> FoundFactor:
    face, before = measured(pairs[0].other), factor_that_counts(session, wanted.name.strip())
    outlet, outlet_type = _where(wanted, pairs)
    return FoundFactor(
        factor=wanted.name.strip(),
        revision=1 if before is None else before.revision + 1,
        scope=FACTOR_SCOPES[wanted.scope],
        outlet_id=outlet,
        outlet_type=outlet_type,
        instrument_id=key(face.instrument.id),
        calibration_id=face.calibration.on_file,
        method_id=key(face.method.id),
        value=factor.value,
        effective_area=None if outlet is None else factor.value * _area(face),
        relative_spread=_spread(factor, of_type=outlet is None) / factor.value,
        degrees_of_freedom=float(factor.degrees_of_freedom),  # as the column keeps it, for its digest
        relative_reference=_relative_reference(pairs, with_dimensions=outlet is None),
        relative_instrument=_mean(
            [relative_uncertainty_of_velocity(pair.other, _OF_THE_CALIBRATION) for pair in pairs]
        ),
        face_indications=json.dumps([_asked_of_the_curve(pair.other) for pair in pairs]),
        reason=wanted.reason.strip(),
    )


def _spread(factor: FactorOfPairs, *, of_type: bool) -> float:
    """Of the mean for the outlet itself; for another outlet of the type, which may differ as the pairs do, s sqrt(1 + 1/n)."""
    return factor.spread * math.sqrt(1.0 + 1.0 / factor.each.size) if of_type else factor.standard_uncertainty_of_mean


def _asked_of_the_curve(face: ReadingInJob) -> float:
    """Indication at which the curve was asked [SI]: a vane's in air of another density is scaled before."""
    readings = face.evaluation.readings
    assert readings is not None  # noqa: S101 (the reading stands)
    return measured(face).indication.mean * float(indication_scale(readings)[face.row])


def _relative_reference(pairs: Sequence[Paired], *, with_dimensions: bool) -> float:
    at_the_face = _SHOWN_BY_THE_SPREAD | _OF_THE_CALIBRATION | _OF_THE_FLOW_AT_THE_FACE
    without = at_the_face if with_dimensions else at_the_face | {"dimension"}
    each = [
        relative_ratio_uncertainty(
            pair, lambda name: name not in _SHOWN_BY_THE_SPREAD, lambda name: name not in without
        )
        for pair in pairs
    ]
    return _mean(each)


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values))


def _pair_records(record: int, pairs: Sequence[Paired], factor: FactorOfPairs) -> list[FactorPair]:
    return [
        FactorPair(
            found_factor_id=record,
            traverse_reading_id=key(measured(pair.traverse).reading.id),
            face_reading_id=key(measured(pair.other).reading.id),
            value=float(value),
        )
        for pair, value in zip(pairs, factor.each, strict=True)
    ]
