"""The command that writes a job's report, issues it, and says whether a file is one that was issued."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.errors import BadInputError, CalibError, Finding
from calib.faces.cli.options import (
    DEFAULT_COVERAGE,
    DEFAULT_RECORDS,
    AsJson,
    By,
    Coverage,
    InUnits,
    Records,
    Units,
    clock,
    print_json,
    probability_of,
    say,
    signature,
    stop,
    tell,
    time_of,
)
from calib.faces.report.file_names import FORMS
from calib.records.ledger import Signature

if TYPE_CHECKING:  # the drawing and database libraries are imported by those who need them
    from calib.faces.report.write_report import Wanted, WrittenReport

DRAFT_FORMS = ("html", "csv", "json")


def register(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("report")(report)


def report(
    job: Annotated[str | None, typer.Argument(metavar="[JOB]", help="The job; not needed with --check.")] = None,
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
    because: Annotated[
        str | None, typer.Option("--because", metavar="TEXT", help="Why another revision is issued.")
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
    issued: Annotated[
        str | None, typer.Option("--issued", metavar="TIME", help="Time of issue to print; now if not given.")
    ] = None,
    coverage: Coverage = DEFAULT_COVERAGE,
    by: By = None,
    records: Records = DEFAULT_RECORDS,
    units: InUnits = None,
    as_json: AsJson = False,
) -> None:
    """Write a job's report: every flow with its expanded uncertainty, the totals, the refusals, the evidence.

    Without --issue it is a draft, and says so. Exit status 1 if the file of --check was not issued so, or a later revision was.
    Flows that protect life or health (smoke control, fume cupboards, isolation rooms, combustion air) are judged by the local
    code and a licensed practitioner, not by this program.

    Example: calib report FQ-204 --format html,pdf --issue --by "R. Sorrel"
    """
    asked = [
        ("--issue", issue),
        ("--revision", revision is not None),
        ("--revisions", revisions),
        ("--check", check is not None),
    ]
    _one_thing([name for name, given in asked if given], job)
    if because is not None and not issue:
        raise BadInputError([Finding("command line", None, "--because", because, "--issue with it")])
    if check is not None:
        _check(records, check, as_json)
    elif revisions:
        _list(records, str(job), as_json)
    elif revision is not None:
        _write_again(records, str(job), revision, _forms(form, ()), into, as_json)
    else:
        wanted = _wanted(str(job), _forms(form, FORMS if issue else DRAFT_FORMS), issued, units, coverage)
        signed = signature(by, "report --issue") if issue else None
        _make(records, wanted, because, signed, into, as_json)


def _one_thing(given: list[str], job: str | None) -> None:
    if len(given) > 1:
        raise BadInputError([Finding("command line", None, given[1], None, f"not together with {given[0]}")])
    if (job is None) != (given == ["--check"]):
        expected = "a job" if job is None else "no job with --check: the file says which it is"
        raise BadInputError([Finding("command line", None, "JOB", job, expected)])


def _forms(form: str | None, otherwise: Sequence[str]) -> list[str]:
    if form is None:
        return list(otherwise)
    forms = list(dict.fromkeys(one.strip() for one in form.split(",") if one.strip()))
    if not forms or set(forms) - set(FORMS):
        raise BadInputError(
            [Finding("command line", None, "--format", form, f"some of {', '.join(FORMS)}, joined by commas")]
        )
    return forms


def _wanted(job: str, forms: Sequence[str], issued: str | None, units: Units | None, coverage: float) -> "Wanted":
    from calib.faces.report.write_report import Wanted

    return Wanted(job, forms, time_of(issued, "--issued"), clock(), units, probability_of(coverage))


def _make(
    records: str, wanted: "Wanted", because: str | None, signed: Signature | None, into: Path, as_json: bool
) -> None:
    """A draft where nobody signs, else an issue."""
    from calib.faces.report.write_report import issue, write_draft
    from calib.records import database

    if signed is not None:
        written = issue(records, wanted, because, signed, into, say)
    else:
        with database.reading(records) as session:
            written = write_draft(session, wanted, into, say)
    _tell_written(wanted.job, written, is_issued=signed is not None, as_json=as_json)


def _tell_written(job: str, written: "WrittenReport", *, is_issued: bool, as_json: bool) -> None:
    if as_json:
        files = [str(one) for one in written.files]
        says = {"job": job, "revision": written.revision, "is_draft": not is_issued}
        print_json({**says, "files": files, "refusals": written.refusals})
    else:
        for one in written.files:
            tell(f"wrote {one}")
    state = "issued as" if is_issued else "a draft of"
    say(f"{state} revision {written.revision}{'' if is_issued else ': nothing was issued'}")
    if written.refusals:
        several = written.refusals > 1
        listed = f"{written.refusals} refused {'readings are' if several else 'reading is'} listed in the report"
        say(f"{listed}; no flow is given for {'them' if several else 'it'}")


def _write_again(records: str, job: str, revision: int, forms: list[str], into: Path, as_json: bool) -> None:
    from calib.faces.report.write_report import write_issued
    from calib.records import database

    with database.reading(records) as session:
        files = write_issued(session, job, revision, forms, into)
    if as_json:
        print_json({"job": job, "revision": revision, "files": [str(one) for one in files]})
    else:
        for one in files:
            tell(f"wrote {one}, as it was issued")


def _list(records: str, job: str, as_json: bool) -> None:
    from calib.faces.answers.issued_reports import issues, issues_text
    from calib.procedures.report.issued import issues_of
    from calib.records import database

    with database.reading(records) as session:
        found = issues_of(session, job)
    if as_json:
        print_json({"job": job, "revisions": issues(found)})
    else:
        tell(issues_text(job, found))


def _check(records: str, file: Path, as_json: bool) -> None:
    from calib.faces.answers.issued_reports import checked, checked_text
    from calib.procedures.report.issued import issue_with
    from calib.records import database

    try:
        content = file.read_bytes()
    except OSError as error:
        raise CalibError(f"{file}: cannot be read ({error.strerror})") from error
    with database.reading(records) as session:
        found = issue_with(session, content)
    if as_json:
        print_json({"file": str(file), **checked(found, content)})
    else:
        tell(checked_text(str(file), found, content))
    if found is None or found.issue != found.latest:
        stop(1)
