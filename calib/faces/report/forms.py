"""The forms of a report, each made once from one content and one layout."""

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from functools import cached_property

from calib.faces.report.blocks import Layout
from calib.faces.report.content import as_json
from calib.faces.report.csv_table import as_csv
from calib.faces.report.file_names import file_stem
from calib.faces.written import Content
from calib.procedures.report.collect import JobReport
from calib.procedures.report.signing_key import Signing


def in_forms(
    document: Content,
    report: JobReport,
    forms: Sequence[str],
    progress: Callable[[str], None],
    signing: Signing | None = None,
) -> dict[str, bytes]:
    """The report in each form that is asked for: its bytes. The PDF is begun first, and typeset while the others are made.

    It is signed before the mail attaches it, where `signing` says how; raises CalibError where no time stamp is given.
    """
    making = _Forms(document, report, signing)
    for form in sorted(forms, key=lambda form: form != "pdf"):
        progress(f"writing the report as {form.upper()}")
        getattr(making, "pdf_begun" if form == "pdf" else form)
    return {form: getattr(making, form) for form in forms}


class _Forms:
    """Forms that rest on one another: the PDF has JSON and CSV attached, the mail the PDF. Imports wait until asked for."""

    def __init__(self, document: Content, report: JobReport, signing: Signing | None) -> None:
        self.document = document
        self.report = report
        self.signing = signing

    @cached_property
    def json(self) -> bytes:
        return _encoded(as_json(self.document))

    @cached_property
    def csv(self) -> bytes:
        return _encoded(as_csv(self.document))

    @cached_property
    def layout(self) -> Layout:
        from calib.faces.report.layout import lay_out  # noqa: PLC0415 (the drawing library takes a third of a second to import)

        company = self.report.company
        mark = None if company is None else company.mark
        return lay_out(self.document, self.report.every_calibration, mark, self.report.photographs or ())

    @cached_property
    def html(self) -> bytes:
        from calib.faces.report.page import as_html  # noqa: PLC0415

        return _encoded(as_html(self.layout))

    @cached_property
    def pdf_begun(self) -> Future[bytes]:
        from calib.faces.report.pdf import EmbeddedFile, begin_pdf  # noqa: PLC0415

        stem = file_stem(self.document["job"])
        attached = {
            f"{stem}.json": EmbeddedFile(self.json, "application/json", "The report with every number unrounded."),
            f"{stem}.csv": EmbeddedFile(self.csv, "text/csv", "The report as one table."),
        }
        return begin_pdf(self.layout, attached)

    @cached_property
    def pdf(self) -> bytes:
        begun = self.pdf_begun
        if self.signing is None:
            return begun.result()
        from calib.procedures.report.sign_pdf import sign_pdf  # noqa: PLC0415 (imported while the PDF is typeset)

        return sign_pdf(begun.result(), self.signing)

    @cached_property
    def xlsx(self) -> bytes:
        from calib.faces.report.workbook import as_xlsx  # noqa: PLC0415

        return as_xlsx(self.document, self.layout)

    @cached_property
    def eml(self) -> bytes:
        from calib.faces.report.mail import as_eml, drawings_of  # noqa: PLC0415

        _begun, drawings = self.pdf_begun, drawings_of(self.layout)
        return as_eml(self.layout, self.pdf, drawings)


def _encoded(text: str) -> bytes:
    return text.encode("utf-8", "backslashreplace")
