"""A reading: what was typed and what it proves; corrected or withdrawn with the reason, and both stay on record."""

from sqlmodel import Session

from calib.faces.answers import corrected_reading, entered_reading, withdrawn_reading
from calib.faces.pages.frame.form import choices, number_of
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.outlet import PASS_FIELDS, proof_of
from calib.faces.written import Content
from calib.procedures.enter.correct_reading import correct_reading
from calib.procedures.enter.withdraw_reading import withdraw_reading
from calib.procedures.measure.evaluate import evaluate, evaluate_with_and_without
from calib.procedures.on_record.attached_files import files_of
from calib.procedures.on_record.corrected_readings import corrections_of, indications_at_points
from calib.procedures.on_record.jobs_by_name import typed_in_job
from calib.procedures.on_record.methods import amended_methods, names_of_methods
from calib.procedures.typed.values import cell_of, values_typed
from calib.quantities import known_units
from calib.records.record import key
from calib.records.tables.files import Attached
from calib.records.tables.instruments import Instrument
from calib.records.tables.readings import Reading
from calib.records.words import STAGES

pages = Pages()
A_READING = "/jobs/{job:name}/readings/{reading:name}"
_PLAIN = ("unit", "method", "stage", "remarks", "averaging_s", "throttled_observations")  # beside the values


@pages.shows(A_READING)
def shown_reading(visit: Visit, job: str, reading: str) -> Filled:
    """What was typed, what it proves, and what may be done about it."""
    session = visit.reading()
    record, at = typed_in_job(session, job, Reading, number_of(reading))
    instrument = session.get_one(Instrument, record.instrument_id)
    content = {
        "job": job,
        "outlet": at.outlet,
        "number": record.id,
        "typed": _typed(session, record),
        "observed_at": record.observed_at,
        "operator": record.operator,
        "instrument": instrument.tag,
        "units_shown": choices(known_units(instrument.indicated)),
        "methods_shown": choices(names_of_methods(session)),
        "stages_shown": choices(STAGES, may_be_blank=True),
        "points": indications_at_points(session, record),
        "passes": range(1, PASS_FIELDS + 1),
        "corrections": [corrected_reading.correction(each) for each in corrections_of(session, record)],
        "proven": proof_of(session, visit, key(record.id)),
        "photographs": files_of(session, Attached.reading_id, [key(record.id)]).get(key(record.id), []),
    }
    return Filled("reading.html", content, title=f"Reading {reading}, {at.outlet}")


@pages.takes(f"{A_READING}/correction", again=shown_reading, act="record")
def correct(visit: Visit, job: str, reading: str) -> Goto:
    """Put another reading in its place, with the reason."""
    with visit.writing_last() as session:
        record, _ = typed_in_job(session, job, Reading, number_of(reading))
        before = evaluate(session, job, visit.at) if visit.form.is_sure else None
        corrected = correct_reading(
            session, job, key(record.id), _changes(visit, session, record), None, _changed_points(visit, session, record),
            visit.form["reason"], visit.signature("page correction"), visit.at, sure=visit.form.is_sure,
        )  # fmt: skip
        moved = (
            [] if before is None else entered_reading.moved(before, evaluate(session, job, visit.at), corrected.outlet)
        )
    said = [*corrected.remarks, *corrected_reading.text(corrected_reading.document(corrected)).splitlines()]
    said += [*(f"refused: {reason}" for reason in corrected.reasons), *moved]
    shown = "" if corrected.corrected is None else f"?reading={corrected.corrected}"
    return Goto(address("/jobs/{}/outlets/{}", job, corrected.outlet) + shown, said)


@pages.takes(f"{A_READING}/withdrawal", again=shown_reading, act="record")
def withdraw(visit: Visit, job: str, reading: str) -> Goto:
    """Take it back, with the reason."""
    with visit.writing_last() as session:
        reading_id = number_of(reading)
        before, after = evaluate_with_and_without(session, job, reading_id, visit.at)
        withdrawn = withdraw_reading(session, job, reading_id, visit.form["why"], visit.signature("page withdrawal"))
    moved = entered_reading.moved(before, after, withdrawn.outlet, "without it")
    said = withdrawn_reading.text(withdrawn_reading.document(withdrawn)).splitlines()
    return Goto(address("/jobs/{}/outlets/{}", job, withdrawn.outlet), [*said, *moved])


def _typed(session: Session, record: Reading) -> Content:
    """Cells of a reading as they were typed; its values as fields."""
    cells = {name: getattr(record, name) or "" for name in _PLAIN if name != "method"}
    method = amended_methods(session, [record.method_id])[record.method_id].now.method
    values = (record.observations or record.indication or "").split(";")
    # More values than fields: the last field holds what is left.
    fields = [*values[: PASS_FIELDS - 1], " ".join(values[PASS_FIELDS - 1 :])]
    return cells | {"method": method} | {f"pass_{place}": value for place, value in enumerate(fields, start=1)}


def _changes(visit: Visit, session: Session, record: Reading) -> dict[str, str]:
    """The cells that were typed otherwise than they stand."""
    before, form = _typed(session, record), visit.form
    changes = {name: form[name].strip() for name in _PLAIN if name in form.typed and form[name].strip() != before[name]}
    if changes.get("throttled_observations"):
        changes["throttled_observations"] = ";".join(values_typed(form["throttled_observations"]))
    typed, stood = (
        " ".join(cells.get(f"pass_{count}", "") for count in range(1, PASS_FIELDS + 1)).split()
        for cells in (form.typed, before)
    )
    if record.traverse_id is None and typed != stood:
        changes |= {"observations": "", "indication": ""} | cell_of(values_typed(" ".join(typed)))
    return changes


def _changed_points(visit: Visit, session: Session, record: Reading) -> dict[tuple[int, int], str]:
    """Points of a traverse that were typed otherwise than they stand."""
    stood = indications_at_points(session, record)
    typed = {(line, point): visit.form[f"point_{line}_{point}"] for line, point in stood}
    joined = {place: ";".join(values_typed(values)) for place, values in typed.items() if values.strip()}
    return {place: values for place, values in joined.items() if values != stood[place]}
