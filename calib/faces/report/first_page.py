"""The first page of a report: title, facts, and what a reader must not miss."""

from collections.abc import Iterator

from calib.counted import count_of
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Letterhead,
    Notice,
    Run,
    Strip,
    Title,
    runs,
)
from calib.faces.report.corrections_and_refusals import RECORDED_SINCE
from calib.faces.report.observed import zone_of
from calib.faces.report.verdict_section import verdict_section
from calib.faces.written import Content, moment_text
from calib.procedures.on_record.company import CompanyMark

WHEN_ISSUED = ("Issued", "Written")  # the label of that moment: of an issue, and of a draft


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
    yield from verdict_section(report, anchors)


def letterhead(company: Content, mark: CompanyMark | None) -> Letterhead:
    """Whose report it is."""
    said = tuple(company[part] for part in ("address", "contact") if company[part])
    picture, media_type = (None, None) if mark is None else (mark.content, mark.media_type)
    return Letterhead(company["name"], said, picture, media_type)


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
    zone = zone_of(report) if summary["measured_from"] else ""
    yield WHEN_ISSUED[is_draft], moment_text(report["issued"], zone)
    if report.get("issued_by"):
        yield "Issued by", report["issued_by"]
    yield "Revision", _revision(report)
    if report.get("agreed_by"):
        yield "Decision rule agreed by", ", ".join(filter(None, (report["agreed_by"], report["agreed_on"])))


def _span(first: str, last: str) -> str:
    """From when until when: of one day the day once, the zone where it is the same once."""
    begun, ended = moment_text(first), moment_text(last)
    if begun == ended:
        return begun
    same_day, same_zone = begun[:10] == ended[:10], begun[16:] == ended[16:]
    return f"{begun[:16] if same_zone else begun} to {ended[11:] if same_day else ended}"


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
        parts += ["What differs from the revision before: ", Run("Changes", to="changes"), ". "]
    if amendments:
        said = count_of(len(amendments), "correction was", "corrections were")
        parts += [f"{said} made since the job was first entered: ", Run("Amendments", to="amendments"), "."]
    lead = f"Revision {report['revision']}." if report["revision"] > 1 else "Corrected."
    yield Notice(lead, runs(*parts))


def _open_review(review: Content) -> Notice:
    rest = count_of(len(review["readings"]), "reading of this report rests", "readings of this report rest")
    lines = count_of(review["open_lines_in_all"], "line of the review is open", "lines of the review are open")
    certificate = "" if review["certificate"] is None else f" (certificate {review['certificate']})"
    return Notice(
        "An impact review is open.",
        runs(
            f"{review['instrument'] or ''} ",
            review["happened"],
            f"{certificate}. {rest} on it, and {lines}: ",
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
    """That more was recorded since the revision before, which this one is the first to answer: how much, and where it stands."""
    mine = [each for each in report["reviews"] if each["answered_by"] == report["revision"] and not each["withdrawn"]]
    if mine:
        came = count_of(len(mine), "record", "records")
        yield Notice(
            f"{came} came in after the revision before.",
            runs(
                "This revision takes them in: " if len(mine) > 1 else "This revision takes it in: ",
                Run(RECORDED_SINCE, to="recorded-since"),
                ".",
            ),
        )
