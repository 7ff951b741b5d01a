"""An outlet: enter what the meter shows, and see at once what it proves."""

import json

from sqlmodel import Session

from calib.errors import RefusedError
from calib.faces.answers import entered_reading, job_on_site
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.measured_with import chosen, measured_with, sending
from calib.faces.written import Content
from calib.procedures.enter.on_site import JobOnSite, is_traversed, job_listed, readings_on_record
from calib.procedures.enter.send_entry import Arrived, send_entry
from calib.procedures.enter.sitting import Sitting, TypedEntry
from calib.procedures.measure.evaluate import evaluate_with_and_without
from calib.procedures.measure.reading_in_job import reading_in_job
from calib.procedures.measure.verdict import verdict_on
from calib.procedures.on_record.attached_files import photographs_at
from calib.procedures.on_record.jobs_by_name import outlet_named, typed_in_job
from calib.procedures.report.issued import issued_without
from calib.procedures.typed.values import cell_of, values_typed
from calib.records.record import key
from calib.records.tables.readings import Reading, Refusal

pages = Pages()
PASS_FIELDS = 6  # fields for passes; each takes several values too
AN_OUTLET = "/jobs/{job:name}/outlets/{outlet:name}"


@pages.shows(AN_OUTLET)
def outlet(visit: Visit, job: str, outlet: str) -> Filled:
    """What is asked of a reading here, and what the one entered just now proves."""
    session = visit.reading()
    site = job_listed(session, job)
    here = site.outlets.get(outlet) or outlet_named(session, job, outlet)
    readings = readings_on_record(session, here) if outlet in site.measured else []
    proof = proven(session, visit, job, outlet)
    content = {
        **job_on_site.of_outlet(here),
        "job": job,
        "traversed": is_traversed(here),
        "begun": visit.served.credentials.traverses_begun(visit.person, job).get(outlet),
        "left": len(site.left),
        "next": next_outlet(site, outlet),
        "with": measured_with(session, visit, job, here) if proof is None else None,
        "readings": readings,
        "photographs": photographs_at(session, key(here.id), readings),
        "passes": range(1, PASS_FIELDS + 1),
        "proven": proof,
    }
    return Filled("outlet.html", content, title=f"{outlet}, {job}")


@pages.takes(AN_OUTLET, again=outlet, act="record")
def enter(visit: Visit, job: str, outlet: str) -> Goto:
    """Write what was typed, once however often it is sent."""
    return entry_written(visit, job, outlet, typed_entry(visit, job, outlet))


def typed_entry(visit: Visit, job: str, outlet: str) -> TypedEntry:
    """What was typed into the form, as an entry; with the time of the device where its script said it."""
    passes = " ".join(visit.form[f"pass_{count}"] for count in range(1, PASS_FIELDS + 1))
    cells = {"job": job, "outlet": outlet, **chosen(visit), **cell_of(values_typed(passes))}
    throttled = visit.form["throttled_observations"]
    if throttled.strip():
        cells["throttled_observations"] = ";".join(values_typed(throttled))
    if visit.form["observed_at"]:
        cells["observed_at"] = visit.form["observed_at"]
    return TypedEntry(cells)


def entry_written(visit: Visit, job: str, outlet: str, entry: TypedEntry) -> Goto:
    """Write an entry and go where its answer stands; raises as `send_entry`."""
    with visit.writing_last() as session:
        arrived = send_entry(
            session, entry, sending(visit), visit.signature("page entry"), visit.at, sure=visit.form.is_sure,
            keep_refused=visit.form["keep"] == "yes",
        )  # fmt: skip
        moved = moved_by(session, visit, job, outlet, arrived) if visit.form.is_sure else []
    what = "refusal" if arrived.written.refused else "reading"
    # Nobody typed the time: of two readings within a second the later one has the next.
    said = [remark for remark in arrived.remarks if not remark.startswith("notice: observed_at: ")]
    return Goto(f"{address('/jobs/{}/outlets/{}', job, outlet)}?{what}={arrived.written.record_id}", [*said, *moved])


def moved_by(session: Session, visit: Visit, job: str, outlet: str, arrived: Arrived) -> list[str]:
    """What readings of other outlets say otherwise with an entry: one far from the others widens the U that they share."""
    if arrived.again or arrived.written.refused:
        return []
    after, before = evaluate_with_and_without(session, job, arrived.written.record_id, visit.at)
    return entered_reading.moved(before, after, outlet)


def next_outlet(site: JobOnSite, outlet: str) -> str | None:
    """The outlet that is left and comes next in the order of the job."""
    left = site.measured | {outlet}
    return Sitting(site.job.job, outlet=outlet).next_outlet(list(site.outlets), left)


def proven(session: Session, visit: Visit, job: str, outlet: str) -> Content | None:
    """What the reading proves that the address names, or why it was refused; None where it names none of this outlet."""
    if visit.asked.get("reading", "").isdecimal():
        reading, at = typed_in_job(session, job, Reading, int(visit.asked["reading"]))
        return proof_of(session, visit, key(reading.id)) if at.outlet == outlet else None
    if visit.asked.get("refusal", "").isdecimal():
        refusal, at = typed_in_job(session, job, Refusal, int(visit.asked["refusal"]))
        return {"refusal": refusal.id, "reasons": json.loads(refusal.reasons)} if at.outlet == outlet else None
    return None


def proof_of(session: Session, visit: Visit, reading: int) -> Content:
    """What a reading proves, in numbers and in words; why it stands no more."""
    try:
        answer = entered_reading.document(verdict_on(reading_in_job(session, reading, visit.at)), None)
    except RefusedError as error:
        return {"reading": reading, "stands_no_more": str(error)}
    said = [*entered_reading.would_pass(answer), *entered_reading.would_settle(answer), *entered_reading.flags(answer)]
    revision = issued_without(session, answer["job"], reading)
    without = None if revision is None else entered_reading.not_in_report(revision)
    return answer | {"said": said, "not_in_report": without}
