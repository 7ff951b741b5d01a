"""A report laid out: its content as blocks, section by section, the same for every form."""

from collections.abc import Iterator, Mapping, Sequence

from calib.faces.parts.validation_text import validation_text
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Block, Bullets, Heading, Layout, Mark, Paragraph, Run, paragraph, runs
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
from calib.faces.report.photographs_section import photographs_section
from calib.faces.report.traverses_and_air import air_section, traverses_section
from calib.faces.written import Content
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.procedures.on_record.company import CompanyMark
from calib.procedures.on_record.photographs import JobPhotograph
from calib.unswept import unswept


@unswept
def lay_out(
    content: Content,
    used: Mapping[tuple[str, str], CalibrationOnFile],
    mark: CompanyMark | None = None,
    photographs: Sequence[JobPhotograph] = (),
) -> Layout:
    """The report as blocks; `used` holds each calibration of its instruments by tag and certificate number.

    `mark` is the picture that stands for the company, `photographs` are those that the content names.
    """
    return Layout(
        job=content["job"],
        title=content["title"] or content["job"],
        revision=content["revision"],
        is_draft=bool(content.get("is_draft", False)),
        issued=content["issued"],
        ledger_digest=content["ledger_digest"],
        blocks=tuple(_blocks(content, used, Anchors(), mark, photographs)),
    )


def _blocks(
    content: Content,
    used: Mapping[tuple[str, str], CalibrationOnFile],
    anchors: Anchors,
    mark: CompanyMark | None,
    photographs: Sequence[JobPhotograph],
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
    yield from photographs_section(photographs, anchors)
    yield Heading(2, "Cautions", "cautions")
    yield Bullets(tuple(runs(caution) for caution in content["cautions"]))
    yield from _evidence(content)
    yield from budgets_appendix(content, anchors)
    yield from calibrations_appendix(content, used, anchors)
    yield Paragraph(runs(f"End of the report on job {content['job']}."), soft=True, is_end=True)


def _evidence(content: Content) -> Iterator[Block]:
    yield Heading(2, "Evidence", "evidence")
    yield paragraph(
        "The digest of the ledger of records when this report was written. The command ",
        Run("calib verify --digest", Mark.CODE),
        " followed by it shows whether the records still hold everything they held then.",
    )
    yield paragraph(Run(content["ledger_digest"], Mark.CODE))
    if content.get("issue_digest"):
        yield paragraph(
            "The digest of this issue: verified in the same way it shows whether they still hold the issue itself."
        )
        yield paragraph(Run(content["issue_digest"], Mark.CODE))
    yield paragraph(f"Written by {content['written_by']}. {validation_text(content.get('validation'))}", soft=True)
