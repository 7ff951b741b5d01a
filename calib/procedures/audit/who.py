"""Who was authorised, with which evidence (ISO/IEC 17025:2017, 6.2.5)."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.authority import RoleChange, are_checked, roles_of
from calib.counted import count_of
from calib.procedures.audit.answer import Answer, days_text
from calib.procedures.audit.since_issue import after_issue
from calib.procedures.audit.subject import Subject
from calib.procedures.on_record.competences_on_file import CompetenceOnRecord, competences
from calib.procedures.people.authorise import people_on_record
from calib.records.record import moment

_DID = {
    "acceptance": "recorded acceptances",
    "reading": "recorded readings",
    "refusal": "recorded readings",
    "calibration": "recorded certificates",
    "issued_report": "issued the report",
}
_MEASURED, _ACCEPTED = "measured", "accepted certificates"


def authorised(session: Session, subject: Subject) -> Answer:
    """Each person who measured, recorded, accepted or issued, with role, competence and evidence on those days."""
    question = "Who did the work, and who authorised them on which evidence?"
    known, on_record = people_on_record(session), competences(session)
    did = _did(subject)
    if not did:
        return Answer(question, "Nothing is on record that anybody did.", is_finding=False)
    lines, without = [], []
    for person, acts in sorted(did.items()):
        days = sorted({day for each in acts.values() for day in each})
        work = ", ".join(f"{act} ({days_text(on)})" for act, on in acts.items())
        own = [each for each in on_record if each.person == person and each.counts]
        is_covered = all(any(each.holds(day) for each in own) for day in days)
        without += [] if is_covered else [person]
        told = (
            "; ".join(
                f"{_competence(each)}{after_issue(session, subject, 'competence', each.record_id)}" for each in own
            )
            or "no competence on record"
        )
        lines.append(f"{person} {work}: {_roles(person, days, known.changes)}; {told}.")
    if not are_checked(known.changes):
        said = f"{count_of(len(did), 'person', 'people')}; nobody has a role on record, so names were taken as typed."
        return Answer(question, said, is_finding=True, rests_on=tuple(lines))
    if without:
        said = f"{count_of(len(did), 'person', 'people')}; no competence is on record for all days of {', '.join(without)}."
        return Answer(question, said, is_finding=True, rests_on=tuple(lines))
    return Answer(
        question,
        f"{count_of(len(did), 'person', 'people')}, each with a competence on those days.",
        False,
        tuple(lines),
    )


def _roles(person: str, days: Sequence[str], changes: Sequence[RoleChange]) -> str:
    """The roles of a person by the end of each day of their work; with the days where these were not always the same."""
    alike: dict[str, list[str]] = defaultdict(list)
    for day in days:
        held = roles_of(person, changes, datetime.fromisoformat(f"{day}T23:59:59+00:00"))
        alike[" and ".join(held) or "no role"].append(day)
    if len(alike) == 1:
        return next(iter(alike))
    return ", ".join(f"{roles} ({days_text(on)})" for roles, on in alike.items())


def _did(subject: Subject) -> dict[str, dict[str, set[str]]]:
    """Person -> what they did -> on which days."""
    acts = [
        (str(node.says["operator"]), _MEASURED, str(moment(str(node.says["observed_at"])).date()))
        for node in subject.trace.knots.values()
        if node.kind == "reading" and node.says["operator"]
    ]
    accepted = [each.acceptance for each in subject.calibrations.values() if each.acceptance is not None]
    acts += [(each.accepted_by, _ACCEPTED, each.accepted_on) for each in accepted]
    at_program = set(acts)  # whoever accepts at the program records that by the same act; an import records another's
    acts += [
        (entry.person, _DID[entry.table], entry.time[:10])
        for entry in subject.written(*_DID)
        if entry.table != "acceptance" or (entry.person, _ACCEPTED, entry.time[:10]) not in at_program
    ]
    did: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for person, act, day in acts:
        did[person][act].add(day)
    return did


def _competence(competence: CompetenceOnRecord) -> str:
    until = f"until {competence.until_on}" if competence.until_on else "with no end"
    files = ", ".join(f"{name}, SHA-256 {sha256[:12]}" for name, sha256 in competence.evidence)
    evidence = f"evidence {files}" if files else "no evidence kept"
    held = f"competent for {competence.scope} from {competence.from_on} {until}"
    return f"{held}, authorised by {competence.authorised_by}, {evidence}"
