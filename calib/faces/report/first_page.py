"""The first page of a report: title, facts, and what a reader must not miss."""

from collections.abc import Iterator

from calib.counted import count_of
from calib.faces.plain_text import shortened
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Letterhead,
    Notice,
    Run,
    Signatures,
    SignedInPdf,
    Strip,
    Title,
    runs,
)
from calib.faces.report.verdict_section import verdict_section
from calib.faces.written import Content
from calib.procedures.on_record.company import CompanyMark
from calib.procedures.report.signing_key import PLACE


def first_page(report: Content, anchors: Anchors, mark: CompanyMark | None = None) -> Iterator[Block]:
    """Title, the facts beneath it, and what a reader must not miss."""
    if report["company"]:
        yield letterhead(report["company"], mark)
    yield Title(report["title"] or report["job"], f"Air flow report on job {report['job']}")
    yield Strip(tuple(_facts(report)))
    if report.get("is_draft"):
        yield Notice(
            "Draft.", runs("This report was not issued: nobody has answered for it yet, and it may still change.")
        )
    yield from _revised(report)
    yield from (_open_review(review) for review in report["open_reviews"])
    yield from _decided(report)
    yield from _answered(report)
    told = {each["outlet"] for each in report["summary"]["attention"]}  # with the reasons, where no reading stands
    refused = [each for each in report["refusals"] if each["outlet"] not in told]
    if refused:
        count = len(refused)
        lead = count_of(count, "reading was refused", "readings were refused")
        said = f"No flow is reported for {'them' if count > 1 else 'it'}. The reasons stand under "
        yield Notice(f"{lead}.", runs(said, Run("Refused readings", to="refused"), "."))
    yield from verdict_section(report, anchors)
    yield signatures(report)


def letterhead(company: Content, mark: CompanyMark | None) -> Letterhead:
    """Whose report it is."""
    said = tuple(company[part] for part in ("address", "contact") if company[part])
    picture, media_type = (None, None) if mark is None else (mark.content, mark.media_type)
    return Letterhead(company["name"], said, picture, media_type)


def signatures(report: Content) -> Signatures:
    """Room for the engineer's signature, with the name of whoever issued the report; or what the PDF's signature says."""
    issued_by, signature = report.get("issued_by"), report.get("signature")
    if signature is None:
        return Signatures(((f"Certifying engineer{', who issued it' if issued_by else ''}", str(issued_by or "")),))
    said = f"Signed electronically in the PDF ({signature['level']}). Certificate issued by "
    said += f"{shortened(signature['issuer'], _LONGEST_ISSUER)}, SHA-256 {signature['sha256'][:16]}."
    signed = SignedInPdf(said, signature["at"][:10], PLACE)
    return Signatures((("Certifying engineer, who issued it", signature["by"]),), signed)


_LONGEST_ISSUER = 60  # signs: three lines of the signature
