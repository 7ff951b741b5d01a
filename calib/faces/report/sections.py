"""A report laid out: its content as blocks, section by section, the same for every form."""

from collections.abc import Iterator, Mapping

from calib.faces.report import appendix, evidence_sections, flows_section, in_full_section
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Heading,
    Layout,
    Mark,
    Paragraph,
    Run,
    Signatures,
    runs,
)
from calib.faces.unswept import unswept
from calib.faces.written import Content
from calib.procedures.on_record.calibrations import CalibrationOnFile


@unswept
def lay_out(content: Content, used: Mapping[tuple[str, str], CalibrationOnFile]) -> Layout:
    """The report as blocks; `used` holds each calibration of its instruments by tag and certificate number."""
    return Layout(
        job=content["job"],
        title=content["title"] or content["job"],
        revision=content["revision"],
        is_draft=bool(content.get("is_draft", False)),
        issued=content["issued"],
        ledger_digest=content["ledger_digest"],
        blocks=tuple(_blocks(content, used, Anchors())),
    )


def _blocks(content: Content, used: Mapping[tuple[str, str], CalibrationOnFile], anchors: Anchors) -> Iterator[Block]:
    yield from flows_section.head(content)
    yield from flows_section.changes(content)
    yield from flows_section.flows(content, anchors)
    yield from flows_section.balance(content)
    yield from evidence_sections.decisions(content)
    yield from evidence_sections.amendments(content)
    yield from evidence_sections.refused(content, anchors)
    yield from evidence_sections.traverses(content, anchors)
    yield from evidence_sections.air(content)
    yield from evidence_sections.instruments(content, anchors)
    yield from evidence_sections.budgets(content, anchors)
    yield Heading(2, "Cautions", "cautions")
    yield Bullets(tuple(runs(one) for one in content["cautions"]))
    yield from _evidence(content)
    yield from _signed(content)
    yield from appendix.calibrations(content, used, anchors)
    yield from in_full_section.budgets_in_full(content, anchors)


def _evidence(content: Content) -> Iterator[Block]:
    yield Heading(2, "Evidence", "evidence")
    yield Paragraph(
        runs(
            "The digest of the ledger of records when this report was written. ",
            Run("calib verify --digest", Mark.CODE),
            " with it shows whether the records still hold everything they held then.",
        )
    )
    yield Paragraph(runs(Run(content["ledger_digest"], Mark.CODE)))
    yield Paragraph(runs(f"Written by {content['written_by']}."), soft=True)


def _signed(content: Content) -> Iterator[Block]:
    yield Heading(2, "Signatures", "signatures")
    issued_by = content.get("issued_by")
    yield Signatures((("Certifying engineer", ""), *((("Issued by", str(issued_by)),) if issued_by else ())))
