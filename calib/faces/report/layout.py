"""A report laid out: its content as blocks, section by section, the same for every form."""

from collections.abc import Iterator, Mapping

from calib.faces.parts.validation_text import validation_text
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Block, Bullets, Heading, Layout, Mark, Run, paragraph, runs
from calib.faces.report.budgets_appendix import budgets_appendix
from calib.faces.report.budgets_section import budgets_section
from calib.faces.report.calibrations_appendix import calibrations_appendix
from calib.faces.report.corrections_and_refusals import (
    amendments_section,
    changes_section,
    refusals_section,
    reviews_section,
)
from calib.faces.report.cross_checks_section import cross_checks_section
from calib.faces.report.decisions_section import decisions_section
from calib.faces.report.evidence_section import evidence_section
from calib.faces.report.first_page import first_page
from calib.faces.report.flows_section import balance_section, flows_section
from calib.faces.report.found_factors_section import found_factors_section
from calib.faces.report.instruments_section import instruments_section
from calib.faces.report.traverses_and_air import air_section, traverses_section
from calib.faces.written import Content
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.procedures.on_record.company import CompanyMark
from calib.unswept import unswept


@unswept
def lay_out(
    content: Content, used: Mapping[tuple[str, str], CalibrationOnFile], mark: CompanyMark | None = None
) -> Layout:
    """The report as blocks; `used` holds each calibration of its instruments by tag and certificate number.

    `mark` is the picture that stands for the company.
    """
    return Layout(
        job=content["job"],
        title=content["title"] or content["job"],
        revision=content["revision"],
        is_draft=bool(content.get("is_draft", False)),
        issued=content["issued"],
        ledger_digest=content["ledger_digest"],
        blocks=tuple(_blocks(content, used, Anchors(), mark)),
    )


def _blocks(
    content: Content,
    used: Mapping[tuple[str, str], CalibrationOnFile],
    anchors: Anchors,
    mark: CompanyMark | None,
) -> Iterator[Block]:
    yield from first_page(content, anchors, mark)
    yield from reviews_section(content)
    yield from flows_section(content, anchors)
    yield from balance_section(content)
    yield from cross_checks_section(content)
    yield from decisions_section(content)
    yield from changes_section(content)
    yield from amendments_section(content)
    yield from refusals_section(content, anchors)
    yield from evidence_section(content, anchors)
    yield from traverses_section(content, anchors)
    yield from air_section(content)
    yield from found_factors_section(content, anchors)
    yield from instruments_section(content, anchors)
    yield from budgets_section(content, anchors)
    yield Heading(2, "Cautions", "cautions")
    yield Bullets(tuple(runs(caution) for caution in content["cautions"]))
    yield from _evidence(content)
    yield from calibrations_appendix(content, used, anchors)
    yield from budgets_appendix(content, anchors)
    yield paragraph(f"End of the report on job {content['job']}.", soft=True)


def _evidence(content: Content) -> Iterator[Block]:
    yield Heading(2, "Evidence", "evidence")
    yield paragraph(_ABOUT_THE_PAPER)
    yield paragraph(
        "The digest of the ledger of records when this report was written. ",
        Run("calib verify --digest", Mark.CODE),
        " with it shows whether the records still hold everything they held then.",
    )
    yield paragraph(Run(content["ledger_digest"], Mark.CODE))
    if content.get("issue_digest"):
        yield paragraph(
            "The digest of this issue: verified in the same way it shows whether they still hold the issue itself."
        )
        yield paragraph(Run(content["issue_digest"], Mark.CODE))
    yield paragraph(f"Written by {content['written_by']}. {validation_text(content.get('validation'))}", soft=True)


# ISO/IEC 17025:2017, 7.8.2.1 (from memory).
_ABOUT_THE_PAPER = (
    "The results relate only to the outlets and ducts that were measured, as they were then. This report is not to be copied "
    "except in full, unless whoever issued it agrees."
)


def _facts(report: Content) -> Iterator[tuple[str, str]]:
    summary = report["summary"]
    yield "Job", report["job"]
    if report["site"]:
        yield "Site", report["site"]
    if report["client"]:
        yield "Client", report["client"]
    if summary["measured_from"]:
        yield "Measured", _span(summary["measured_from"], summary["measured_until"])
        yield "Measured by", ", ".join(summary["measured_by"])
    is_draft = report.get("is_draft", False)
    yield "Written" if is_draft else "Issued", moment_text(report["issued"])
    if report.get("issued_by"):
        yield "Issued by", report["issued_by"]
    if report.get("signature"):
        yield "Signed by", f"{report['signature']['by']}, in the PDF"
    yield "Revision", _revision(report)
    if report.get("agreed_by"):
        yield "Decision rule agreed by", ", ".join(filter(None, (report["agreed_by"], report["agreed_on"])))


def _span(first: str, last: str) -> str:
    """From when until when: of one day the day once, the zone where it is the same once."""
    if first == last:
        return moment_text(first)
    same_day, same_zone = first[:10] == last[:10], first[16:] == last[16:]
    begin = first[:16] if same_zone else first
    return f"{moment_text(begin)} to {last[11:] if same_day else moment_text(last)}"


def _revision(report: Content) -> str:
    """Its number, and which one it takes the place of."""
    if not report["revises"]:
        return str(report["revision"])
    before = report["revises"][-1]
    return f"{report['revision']}, in place of {before['revision']} of {before['issued'][:10]}"


def _revised(report: Content) -> Iterator[Block]:
    """What a revision changed and why; before a first issue, that cells were corrected."""
    changes, reason = report.get("changes") or [], report.get("revision_reason")
    amendments = report["amendments"]
    if not (changes or reason or amendments):
        return
    parts: list[str | Run] = []
    if reason:
        parts += ["Reason: ", str(reason), ". "]
    if changes:
        parts += ["What differs from the revision before stands under ", Run("Changes", to="changes"), ". "]
    if amendments:
        said = count_of(len(amendments), "correction was", "corrections were")
        parts += [f"{said} made since the job was first entered: ", Run("Amendments", to="amendments"), "."]
    lead = f"Revision {report['revision']}." if report["revision"] > 1 else "Corrected."
    yield Notice(lead, runs(*parts))


def _open_review(review: Content) -> Notice:
    rest = count_of(len(review["readings"]), "reading of this report rests", "readings of this report rest")
    lines = count_of(review["open_lines_in_all"], "line of the review has", "lines of the review have")
    certificate = "" if review["certificate"] is None else f" (certificate {review['certificate']})"
    return Notice(
        "An impact review is open.",
        runs(
            f"{review['instrument'] or ''} ",
            review["happened"],
            f"{certificate}. {rest} on it, and {lines} no disposition yet: ",
            Run("Nonconforming work", to="nonconforming"),
            ".",
        ),
    )


def _decided(report: Content) -> Iterator[Notice]:
    """Reviews by whose decision flows of this report are what they are."""
    for review in report["reviews"]:
        if review["decision"] is not None:
            said = f"{review['instrument'] or ''} {review['happened']}: {review['decision']['said']}, as "
            said += f"{review['decision']['by']} decided on {review['decision']['at'][:10]}: "
            yield Notice("Nonconforming work.", runs(said, Run("Nonconforming work", to="nonconforming"), "."))


def _answered(report: Content) -> Iterator[Notice]:
    """What was recorded since the revision before, which this one is the first to answer."""
    for review in report["reviews"]:
        if review["answered_by"] == report["revision"] and not review["withdrawn"]:
            said = f"{review['happened']}: {decided_text(review)}: "
            yield Notice(
                "Recorded since the revision before.", runs(said, Run("Nonconforming work", to="nonconforming"), ".")
            )
