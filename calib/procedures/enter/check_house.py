"""Checks of what sheets bring of the house: its rules, competences, validations, trust in laboratories, decisions in reviews."""

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence

from calib.errors import Finding
from calib.procedures.on_record.held_curves import AS_FOUND_FROM
from calib.procedures.people.authorise import People
from calib.procedures.people.competences import by_themselves
from calib.procedures.people.house_rules import expected_of_value
from calib.procedures.typed.rows_together import KnownNames
from calib.procedures.typed.sheets import FileContent, TypedRow
from calib.records import ledger

_STATED = ("version", "platform", "result")  # by the row of a validation, and within its file


def house_findings(named: KnownNames) -> Iterator[Finding]:
    """What is wrong with the rules, validations and decisions of sheets."""
    for row in named.sheets["house_rules.csv"]:
        if row.sound("rule", "holds") and (
            told := expected_of_value(row.cells["rule"], row.cells["holds"], row.get("value"))
        ):
            yield row.finding("value", told)
    for row in named.sheets["validations.csv"]:
        yield from _of_file_beside(row, _of_validation)
    for row in named.sheets["laboratory_certificates.csv"]:
        yield from _of_file_beside(row, _of_laboratory_certificate)
    for row in named.sheets["review_decisions.csv"]:
        yield from _of_decision(named, row)
    for row in named.sheets["withdrawals.csv"]:
        yield from _of_factors(named, row, "factors_after")


def _of_decision(named: KnownNames, row: TypedRow) -> Iterable[Finding]:
    yield from named.unknown(row, "review_decisions.csv", "tag", "certificate")
    from_a_time = row.get("curve") == AS_FOUND_FROM
    if row.sound("curve") and from_a_time and row.blank("from_at"):
        yield row.finding("from_at", "the time from which on the curve as found holds")
    elif row.sound("curve", "from_at") and not from_a_time:
        yield row.finding("from_at", f"nothing but with the curve {AS_FOUND_FROM!r}")
    yield from _of_factors(named, row, "factors_before")


def _of_factors(named: KnownNames, row: TypedRow, column: str) -> Iterable[Finding]:
    rows = len(named.sheets["factors.csv"])
    if row.sound(column) and int(row.get(column) or 0) > rows:
        yield row.finding(column, f"at most {rows}, the rows of factors.csv")


def _of_validation(row: TypedRow, file: FileContent) -> Iterable[Finding]:
    """The file states what the row does."""
    try:
        content = json.loads(file.content)
        stated = {column: str(content[column]) for column in _STATED}
        stated["checks"] = str(sum(len(source["numbers"]) for source in content["sources"]))
    except (ValueError, KeyError, TypeError, RecursionError):
        yield row.finding("file", "what a validation gave, as it was exported")
        return
    for column, told in stated.items():
        if row.sound(column) and row.cells[column] != told:
            yield row.finding(column, f"{told}, as {file.name} has it")


def _of_file_beside(
    row: TypedRow, of_content: Callable[[TypedRow, FileContent], Iterable[Finding]]
) -> Iterable[Finding]:
    """The file that a row names is there, that of its digest, and holds what it should."""
    if not row.sound("file"):
        return
    if row.log is None or row.log.expected is not None:
        yield row.finding("file", "a file that stands beside the sheet" if row.log is None else str(row.log.expected))
        return
    digest = hashlib.sha256(row.log.content).hexdigest()
    if row.sound("sha256") and digest != row.cells["sha256"]:
        yield row.finding("sha256", f"that of {row.log.name}, {digest}")
    else:
        yield from of_content(row, row.log)


def _of_laboratory_certificate(row: TypedRow, file: FileContent) -> Iterable[Finding]:
    """The file is one X.509 certificate as it is kept, of a key that nobody breaks."""
    from calib.procedures.dcc.check_signature import as_der, has_long_key, x509_of  # noqa: PLC0415 (where there is one)

    certificate = x509_of(file.content)
    if certificate is None or as_der(certificate) != file.content or not has_long_key(certificate):
        yield row.finding("file", "an X.509 certificate (DER) of an RSA key of 2048 bits or more, or of a curve of 256")


def competence_findings(rows: Sequence[TypedRow], people: People, signature: ledger.Signature) -> Iterator[Finding]:
    """Each is of a person on record, ends after it begins, and nobody authorises themselves while another may."""
    names = [person.name for person in people.people]
    for row in rows:
        if row.sound("person") and row.cells["person"] not in names:
            there = f"there is {', '.join(names)}" if names else "there is nobody yet: add them first, with their roles"
            yield row.finding("person", f"a person on record: {there}")
        if row.sound("from_on", "until_on") and row.cells["until_on"] < row.cells["from_on"]:
            yield row.finding("until_on", f"a day not before from_on ({row.cells['from_on']})")
        if row.sound("person", "authorised_by"):
            for column, _, told in by_themselves(people, row.cells["person"], row.cells["authorised_by"], signature):
                yield row.finding("authorised_by" if column == "authorised_by" else "person", told)
                break


def without_review(row: TypedRow) -> Finding:
    """The finding on a decision whose certificate opened no review."""
    return row.finding("certificate", "a certificate whose comparisons as found open a review: this one's do not")
