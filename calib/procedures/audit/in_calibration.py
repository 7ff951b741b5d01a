"""In calibration, accepted, traceable: the first three questions (ISO/IEC 17025:2017, 6.4.6, 6.4.8, 6.5)."""

import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.interval import Decision, is_retired
from calib.confirmation.traceability import is_accredited
from calib.counted import count_of
from calib.procedures.audit.answer import Answer, days_text
from calib.procedures.audit.since_issue import after_issue, gaps_when_issued, held_when_issued
from calib.procedures.audit.subject import JOB, Subject, Use
from calib.procedures.on_record.calibrations import CalibrationOnFile, attempts_to_accept
from calib.procedures.on_record.used_with import decision_on, gear_of
from calib.procedures.people.four_eyes import same_person
from calib.procedures.people.house_rules import holds
from calib.records.record import key
from calib.records.tables.calibrations import Acceptance
from calib.records.words import ONE_PERSON_MAY_ACCEPT


def in_calibration(session: Session, subject: Subject, now: datetime) -> Answer:
    """Whether each instrument was in calibration when it was relied on, by the gate as the records are now."""
    question = "Was it in calibration that day?"
    if not subject.uses:
        return Answer(question, "There is no reading on record, so nothing was relied on.", subject.kind == JOB)
    gear = gear_of(session, subject.numbers["instrument"])
    asked: dict[str, list[tuple[Use, Decision]]] = defaultdict(list)
    for use in subject.uses:
        asked[use.tag].append((use, decision_on(gear, use.tag, use.at, now)))
    against = {tag: [each for each in decided if not each[1].allowed] for tag, decided in sorted(asked.items())}
    refused = [tag for tag, each in against.items() if each]
    days = days_text(use.day for use in subject.uses)
    if len(asked) == 1:
        said = f"No, not on {days}." if refused else f"Yes, on {days}."
    elif refused:
        said = f"No: of {len(asked)} instruments {_listed(refused)} {'was' if len(refused) == 1 else 'were'} not, on {days}."
    else:
        said = f"Yes: all {len(asked)} instruments were, on {days}."
    said += held_when_issued(session, subject)
    valid = [_valid(tag, decided, days) for tag, decided in sorted(asked.items()) if tag not in refused]
    lines = [f"Valid: {'; '.join(valid)}."] if valid else []
    reasons = [reason for tag in refused for _, decision in against[tag] for reason in decision.reasons]
    lines += dict.fromkeys(f"{reason}." for reason in reasons)
    retired = [tag for tag in asked if is_retired(gear.register[tag], now)]
    lines += [f"Retired since: {', '.join(sorted(retired))}."] if retired else []
    refusals = len(subject.numbers.get("refusal", ()))
    if refusals:
        lines.append(f"{count_of(refusals, 'reading was', 'readings were')} refused by the gate, and gave no flow.")
    return Answer(question, said, bool(refused), tuple(lines))


def _valid(tag: str, decided: Sequence[tuple[Use, Decision]], days: str) -> str:
    """An instrument with its certificate and until when it holds; with its own days where these are not those of all."""
    decision = decided[-1][1]
    own_days = days_text(use.day for use, _ in decided)
    relied = "" if own_days == days else f", relied on {own_days}"
    check = "" if decision.check_due_on is None else f", intermediate check by {decision.check_due_on}"
    assert decision.calibration is not None  # noqa: S101 (the gate lets nothing pass without one)
    return f"{tag} ({decision.calibration.certificate}, through {decision.due_on}{check}{relied})"


def who_accepted(session: Session, subject: Subject) -> Answer:
    """Who accepted each certificate, by which rule, from when it held, and when that was recorded."""
    question = "Who accepted its calibration, by which rule, and when was that recorded?"
    tried = _tried(session, subject)
    if not subject.calibrations:
        return Answer(question, "Nobody: no calibration is in force.", True, tried)
    signed = {entry.record_id: entry for entry in subject.written("acceptance")}
    waiting, alone = [], []
    alike: dict[tuple[str, ...], list[tuple[str, str]]] = defaultdict(list)
    for _, on_file in _by_tag(subject):
        name = f"{on_file.instrument.tag} ({on_file.calibration.certificate})"
        acceptance = on_file.acceptance
        if acceptance is None:
            waiting.append(name)
            continue
        alone += [name] if on_file.typed_by and same_person(acceptance.accepted_by, on_file.typed_by) else []
        recorded = signed[key(acceptance.id)]
        after = after_issue(session, subject, "acceptance", recorded.record_id, ", after the issue")
        words = (acceptance.accepted_by, _rule(acceptance), recorded.person, f"{recorded.time[:10]}{after}")
        alike[words].append((name, acceptance.accepted_on))
    lines = [f"Not accepted: {', '.join(waiting)}."] if waiting else []
    for (person, rule, by, day), names in alike.items():
        as_of = days_text(held for _, held in names)
        held = "" if as_of == day[:10] else f" as of {as_of}"
        recorder = "" if by == person else f" by {by}"
        lines.append(f"{person}, {rule}, recorded{recorder} on {day}{held}: {', '.join(name for name, _ in names)}.")
    count = count_of(sum(map(len, alike.values())), "certificate", "certificates")
    said = f"{_listed(sorted({words[0] for words in alike}))} accepted {count}."
    if waiting:
        said = f"{count_of(len(waiting), 'certificate was', 'certificates were')} not accepted. {said}"
    may = holds(session, ONE_PERSON_MAY_ACCEPT) is True
    if alone:
        told = "as the house rule allows" if may else "and no house rule allows that"
        said += f" {count_of(len(alone), 'of them was', 'of them were')} typed and accepted by one person, {told}."
    return Answer(question, said, bool(waiting or (alone and not may)), (*lines, *tried))


def _tried(session: Session, subject: Subject) -> tuple[str, ...]:
    """Acceptances that the criterion failed: of an instrument of any of its certificates, else of those relied on."""
    keys = subject.numbers["calibration"] if subject.job is None else subject.calibrations
    return tuple(
        f"Tried on {each['at'][:10]} by {each['by']} and not accepted: {each['findings'][0].partition(': have it')[0]}."
        for _, attempts in sorted(attempts_to_accept(session, keys).items())
        for each in attempts
    )


def _rule(acceptance: Acceptance) -> str:
    """Decision rule and what was judged, as the acceptance keeps them."""
    if acceptance.decision_rule is None:
        return "with no decision rule on record"
    judged = json.loads(acceptance.assessment or "{}").get("judged")
    return f"{acceptance.decision_rule} acceptance{f' of the {judged}' if judged else ''}"


def traceable(session: Session, subject: Subject) -> Answer:
    """Whether every chain reaches an accredited certificate that was valid on its day; of a report then and now."""
    question = "To what is it traceable?"
    ends = [
        on_file.calibration
        for _, on_file in _by_tag(subject)
        if is_accredited(on_file.calibration.accreditation) and on_file.withdrawn is None
    ]
    laboratories = sorted({f"{end.laboratory} ({end.accreditation})" for end in ends})
    gaps, then = subject.trace.gaps, gaps_when_issued(session, subject)
    if gaps:
        said = f"Not wholly: {count_of(len(gaps), 'gap', 'gaps')} in the chain."
    elif not ends:
        return Answer(question, "To nothing: no accredited certificate is reached.", is_finding=True)
    else:
        said = f"To {_listed(laboratories)}: every chain ends at an accredited certificate that was valid on its day."
    lines = _gaps_told(gaps, gaps if then is None else then)
    taken_over = [f"{each}." for each in subject.trace.taken_over]
    if subject.issue is not None and then is not None:
        count = count_of(len(then), "gap", "gaps") if then else "no gap"
        said += f" When revision {subject.issue.revision} was issued on {subject.issue.issued_at[:10]}, it had {count}."
    return Answer(question, said, bool(gaps or then), (*lines, *_in_house(subject), *_signed(subject), *taken_over))


def _gaps_told(now: Sequence[str], then: Sequence[str]) -> Iterator[str]:
    """Each gap of the chain, with what of it was otherwise when the report was issued."""
    yield from (f"{gap}." if gap in then else f"Since the issue: {gap}." for gap in now)
    yield from (f"When it was issued, and no more: {gap}." for gap in then if gap not in now)


def _signed(subject: Subject) -> Iterator[str]:
    """What was found of the signatures on the files that certificates were read from."""
    for _, on_file in _by_tag(subject):
        for each in on_file.signatures:
            signer = f", signed by {each['signer']}" if each["signer"] else ""
            vouched = f", trusted by QA as {each['laboratory']}" if each["laboratory"] else ""
            name = f"{on_file.instrument.tag} ({on_file.calibration.certificate})"
            yield f"{name} was read from {each['file']}, {each['verdict']}{signer}{vouched}."


def _in_house(subject: Subject) -> Iterator[str]:
    for _, on_file in _by_tag(subject):
        if on_file.standards:
            standards = ", ".join(on_file.standards)
            yield f"{on_file.instrument.tag} was calibrated by {on_file.calibration.laboratory} against {standards}."


def _by_tag(subject: Subject) -> list[tuple[int, CalibrationOnFile]]:
    return sorted(subject.calibrations.items(), key=lambda each: (each[1].instrument.tag, each[0]))


def _listed(names: list[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names) or "nobody"
