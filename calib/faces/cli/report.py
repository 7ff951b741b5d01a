"""The command that writes a job's report, issues it, and says whether a file is one that was issued."""

import getpass
import os
import sys
from collections.abc import Sequence
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.clock import clock
from calib.errors import BadInputError, CalibError, Finding
from calib.faces.cli.frame import Desk, Reply, group, happened_at, say, writes
from calib.faces.cli.options import DEFAULT_COVERAGE, Coverage, probability_of
from calib.faces.report.file_names import FORMS
from calib.faces.report.time_stamp import authority

if TYPE_CHECKING:  # the drawing and database libraries are imported by those who need them
    from calib.faces.report.write_report import Wanted
    from calib.procedures.report.signing_key import Signing

PASSWORD = "CALIB_SIGNING_PASSWORD"  # noqa: S105 (the name of a variable)
DRAFT_FORMS = ("html", "csv", "json")

app = group()


@writes(app, "report", units=True)
def report(
    desk: Desk,
    job: Annotated[str | None, typer.Argument(metavar="JOB", help="The job; not needed with --check.")] = None,
    form: Annotated[
        str | None,
        typer.Option(
            "--format",
            metavar="FORMS",
            help="Forms of the report, joined by commas: html, pdf, json, csv, xlsx, eml (a mail to open and send). "
            f"If not given: {','.join(DRAFT_FORMS)}; all of them with --issue or --revision.",
        ),
    ] = None,
    into: Annotated[Path, typer.Option("--into", metavar="DIR", help="Folder to write to.")] = Path("reports"),
    issue: Annotated[bool, typer.Option("--issue", help="Issue it: keep its bytes as the next revision.")] = False,
    reason: Annotated[
        str | None, typer.Option("--because", metavar="TEXT", help="Why another revision is issued.")
    ] = None,
    gaps_reason: Annotated[
        str | None,
        typer.Option("--with-gaps", metavar="REASON", help="Why it is issued although outlets are not measured."),
    ] = None,
    revision: Annotated[
        int | None,
        typer.Option("--revision", min=1, metavar="N", help="Write an issued revision again, byte for byte."),
    ] = None,
    revisions: Annotated[bool, typer.Option("--revisions", help="List what was issued, and write nothing.")] = False,
    check: Annotated[
        Path | None,
        typer.Option(
            "--check", metavar="FILE", help="Say whether a file is a report as it was issued, and the latest."
        ),
    ] = None,
    sign: Annotated[
        Path | None,
        typer.Option(
            "--sign",
            metavar="FILE",
            help="With --issue: sign the PDF with the key of this PKCS#12 file (.p12, .pfx), whose certificate is that of whoever "
            f"issues. Its password is asked for, or taken from {PASSWORD}.",
        ),
    ] = None,
    photographs: Annotated[
        bool,
        typer.Option("--photographs", help="Print the photographs kept with its outlets and readings, small."),
    ] = False,
    issued: Annotated[
        str | None, typer.Option("--issued", metavar="TIME", help="Time of issue to print; now if not given.")
    ] = None,
    coverage: Coverage = DEFAULT_COVERAGE,
) -> Reply:
    """Write a job's report: every flow with its expanded uncertainty, the totals, the refusals, the evidence.

    Without --issue it is a draft, and says so. With outlets that are not measured it is issued for a reason alone (--with-gaps):
    without one they are named and nothing is issued, exit status 1. The same if the file of --check was not issued so, a later
    revision was, or a signature within it does not hold.
    Flows that protect life or health (smoke control, fume cupboards, isolation rooms, combustion air) are judged by the local
    code and a licensed practitioner, not by this program.

    Example: calib report FQ-204 --format html,pdf --issue --by "R. Sorrel"
    """
    asked = {"issue": issue, "revision": revision is not None, "revisions": revisions, "check": check is not None}
    _one_thing([name for name, given in asked.items() if given], job)
    if reason is not None and not issue:
        raise BadInputError([Finding.typed("reason", reason, "--issue with it")])
    if sign is not None and not issue:
        raise BadInputError([Finding.typed("sign", str(sign), "--issue with it: only what is issued is signed")])
    if gaps_reason is not None and not issue:
        raise BadInputError([Finding.typed("gaps_reason", gaps_reason, "--issue with it")])
    if check is not None:
        return _check(desk, check)
    if revisions:
        return _list(desk, str(job))
    if revision is not None:
        return _write_again(desk, str(job), revision, _forms(form, ()), into)
    from calib.faces.report.write_report import Wanted

    forms = _forms(form, FORMS if issue else DRAFT_FORMS)
    when, now, probability = happened_at(issued, "issued"), clock(), probability_of(coverage)
    signing = None if sign is None else _signing(sign, forms, now)
    wanted = Wanted(str(job), forms, when, now, desk.units, probability, signing, gaps_reason, photographs)
    return _make(desk, wanted, reason, into, is_draft=not issue)


def _one_thing(given: list[str], job: str | None) -> None:
    if len(given) > 1:
        raise BadInputError([Finding.typed(given[1], None, f"not together with --{given[0]}")])
    if (job is None) != (given == ["check"]):
        expected = "a job" if job is None else "no job with --check: the file says which it is"
        raise BadInputError([Finding.typed("job", job, expected)])


def _forms(typed: str | None, otherwise: Sequence[str]) -> list[str]:
    if typed is None:
        return list(otherwise)
    forms = list(dict.fromkeys(form.strip() for form in typed.split(",") if form.strip()))
    if not forms or set(forms) - set(FORMS):
        raise BadInputError([Finding.typed("format", typed, f"some of {', '.join(FORMS)}, joined by commas")])
    return forms


def _signing(file: Path, forms: Sequence[str], now: datetime) -> "Signing":
    """How a report is signed with the key of a file; the password goes no further than the reading of it."""
    from calib.procedures.report.signing_key import Signing, read_signing_key

    if "pdf" not in forms:
        raise BadInputError(
            [Finding.typed("format", ",".join(forms), "pdf among them: that is the form that is signed")]
        )
    key = read_signing_key(str(file), _content_of(file), _password_of(file))
    return Signing(key, now, authority())


def _password_of(file: Path) -> str:
    """The password of a file of a key: from the environment, or typed unseen at a terminal."""
    if PASSWORD in os.environ:
        return os.environ[PASSWORD]
    if not sys.stdin.isatty():
        raise BadInputError(
            [Finding.typed("sign", str(file), f"its password in {PASSWORD}, or a terminal to ask for it at")]
        )
    return getpass.getpass(f"Password of {file}: ")


def _content_of(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise CalibError(f"{file}: cannot be read ({error.strerror})") from error


def _make(desk: Desk, wanted: "Wanted", reason: str | None, into: Path, *, is_draft: bool) -> Reply:
    from calib.faces.answers import written_report as answer
    from calib.faces.report.write_report import issue, write_draft

    if is_draft:
        written = write_draft(desk.reading(), wanted, into, say)
    else:
        written = issue(desk.records, wanted, reason, partial(desk.signature, "report --issue"), into, say)
    document = answer.document(wanted.job, written.revision, written.files, written.refusals, is_draft=is_draft)
    return Reply(document, answer.text, answer.remarks(document))


def _write_again(desk: Desk, job: str, revision: int, forms: list[str], into: Path) -> Reply:
    from calib.faces.report.write_report import write_issued

    files = [str(file) for file in write_issued(desk.reading(), job, revision, forms, into)]
    written = "\n".join(f"wrote {file}, as it was issued" for file in files)
    return Reply({"job": job, "revision": revision, "files": files}, written)


def _list(desk: Desk, job: str) -> Reply:
    from calib.faces.answers import issued_reports as answer
    from calib.procedures.report.issued import issues_of

    return Reply(answer.document(job, issues_of(desk.reading(), job)), answer.text)


def _check(desk: Desk, file: Path) -> Reply:
    from calib.faces.answers import checked_report as answer
    from calib.procedures.report.check_pdf_signature import pdf_signatures
    from calib.procedures.report.issued import issue_with, signer_on_record

    content, session = _content_of(file), desk.reading()
    signatures = {
        signature: signature.sha256 and signer_on_record(session, signature.sha256)
        for signature in pdf_signatures(content)
    }
    document = answer.document(str(file), content, issue_with(session, content), signatures)
    sound = document["is_latest"] and all(signature.holds for signature in signatures)
    return Reply(document, answer.text, status=0 if sound else 1)
