"""The first page of a report: title, facts, and what a reader must not miss."""

from collections import Counter
from collections.abc import Iterator, Sequence

from calib.counted import count_of
from calib.faces.parts.review_on_job import decided_text
from calib.faces.report.blocks import Block, Notice, Run, Strip, Title, runs
from calib.faces.written import SIGNS, Content, moment_text


def first_page(report: Content) -> Iterator[Block]:
    """Title, the facts beneath it, and what a reader must not miss."""
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
    if report["refusals"]:
        count = len(report["refusals"])
        lead = count_of(count, "reading was refused", "readings were refused")
        said = f"No flow is reported for {'them' if count > 1 else 'it'}. The reasons stand under "
        yield Notice(f"{lead}.", runs(said, Run("Refused readings", to="refused"), "."))
    left = report.get("not_measured", ())
    if left:
        lead = count_of(len(left), "outlet is not measured", "outlets are not measured")
        yield Notice(f"{lead}.", runs(f"{_named(left)}."))


def _named(outlets: Sequence[Content]) -> str:
    """Outlets by system and service."""
    groups: dict[str, list[str]] = {}
    for each in outlets:
        groups.setdefault(f"{each['system']}, {each['service']}", []).append(each["outlet"])
    return "; ".join(f"{group}: {', '.join(names)}" for group, names in groups.items())


def _facts(report: Content) -> Iterator[tuple[str, str]]:
    if report["site"]:
        yield "Site", report["site"]
    if report["client"]:
        yield "Client", report["client"]
    is_draft = report.get("is_draft", False)
    yield "Written" if is_draft else "Issued", moment_text(report["issued"])
    if report.get("issued_by"):
        yield "Issued by", report["issued_by"]
    if report.get("signature"):
        yield "Signed by", f"{report['signature']['by']}, in the PDF"
    yield "Revision", str(report["revision"])
    yield "Decision rule", report["decision_rule"]
    if report.get("agreed_by"):
        yield "Agreed by", ", ".join(filter(None, (report["agreed_by"], report["agreed_on"])))
    yield "Readings that stand", str(len(report["readings"]))
    judged = Counter(
        reading["design"]["conformity"] for reading in report["readings"] if reading["design"] and reading["latest"]
    )
    yield from ((word.capitalize(), str(judged[word])) for word in SIGNS if judged[word])
    yield "Refused", str(len(report["refusals"]))


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
