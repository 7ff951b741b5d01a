"""The assessor's page laid out as blocks, and written as HTML or as PDF."""

from collections.abc import Callable, Iterator, Mapping

from calib.faces.answers.audit import ending, heading
from calib.faces.report.blocks import Block, Bullets, Heading, Layout, Mark, Notice, Run, Title, paragraph, runs
from calib.faces.report.page import as_html, within_a_page
from calib.faces.written import Content, moment_text

_HTML, _PDF = ".html", ".pdf"
# How a file of each form begins, and what stands in it: what is written over is one of its kind.
BEGINS: Mapping[str, tuple[bytes, bytes]] = {
    _HTML: (b"<!DOCTYPE html>", b": assessor&#x27;s page</title>"),
    _PDF: (b"%PDF-", b"/Title(Assessor's page)/"),
}


def audit_page(answer: Content, at: str, form: str) -> bytes:
    """The page in one of the forms; `at` is when it is written, ISO 8601 with its zone."""
    return _WRITTEN[form](_laid_out(answer, at))


def audit_within(answer: Content, at: str) -> str:
    """The same to stand within a page that has the style of reports."""
    return within_a_page(_laid_out(answer, at), is_folded=False)


def _laid_out(answer: Content, at: str) -> Layout:
    return Layout(
        job=answer["of"],
        title="Assessor's page",
        revision=None,
        is_draft=False,
        issued=at,
        ledger_digest=answer["ledger_digest"],
        blocks=tuple(_blocks(answer, at)),
        kind="assessor's page",
        running=heading(answer),
        is_close=True,
    )


def _blocks(answer: Content, at: str) -> Iterator[Block]:
    yield Title(
        heading(answer), f"{len(answer['questions'])} questions, answered from the records on {moment_text(at)}"
    )
    places = [str(place) for place, asked in enumerate(answer["questions"], start=1) if asked["is_finding"]]
    if places:
        yield Notice(f"{ending(answer)}: {', '.join(places)}.", ())
    for place, asked in enumerate(answer["questions"], start=1):
        yield Heading(2, f"{place}. {asked['question']}", f"question-{place}")
        lead = [Run("Finding. ", Mark.STRONG)] if asked["is_finding"] else []
        grounds = asked["rests_on"]
        alone = [f" {grounds[0]}"] if len(grounds) == 1 else []  # a list of one takes a line more, and the page is one
        yield paragraph(*lead, Run(asked["answer"], Mark.STRONG), *alone)
        if len(grounds) > 1:
            yield Bullets(tuple(runs(ground) for ground in grounds))


def _html(layout: Layout) -> bytes:
    return as_html(layout, is_folded=False).encode("utf-8", "backslashreplace")


def _pdf(layout: Layout) -> bytes:
    from calib.faces.report.pdf import begin_pdf  # noqa: PLC0415 (the typesetter, for PDF alone)

    return begin_pdf(layout, {}).result()


_WRITTEN: Mapping[str, Callable[[Layout], bytes]] = {_HTML: _html, _PDF: _pdf}
