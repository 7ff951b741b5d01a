"""The command `sites`: what a group asks of the records of its sites, all at once."""

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from calib.clock import end_of
from calib.errors import BadInputError, CalibError, Finding
from calib.faces.cli.frame import Desk, Reply, group, reads, say
from calib.faces.cli.options import OnDate, Within, day_of, days_of
from calib.faces.cli.other_records import OTHER_RECORDS, OtherRecords, other_records

if TYPE_CHECKING:
    from calib.procedures.sites.site_report import SiteReport
    from calib.records.verification import LedgerFinding

app = group()


@reads(app, "sites", of_records=False)
def sites(
    _desk: Desk,
    places: Annotated[
        list[str],
        typer.Argument(metavar=OTHER_RECORDS, help="The records of each site, by the name that the others give it."),
    ],
    within: Within = None,
    on: OnDate = None,
) -> Reply:
    """Ask the records of several sites at once; exit status 1 if anything waits at one, does not fit, or a site does not answer.

    Of each: instruments, what is due, open reviews, reports issued, the head of the ledger, and whether the heads that sites keep
    of one another still fit. A site that does not answer is named with the reason, and the others answer all the same.

    Example: calib sites north=north.sqlite south=postgresql://auditor@south.example/calibration
    """
    from calib.faces.answers import sites as answer
    from calib.procedures.sites.site_report import kept_among

    asked = _asked(places)
    at, within_days = end_of(day_of(on)), days_of(within)
    reports: dict[str, SiteReport] = {}
    silent: dict[str, str] = {}
    for site in asked.values():
        say(f"asking {site.name}")
        try:
            reports[site.name] = _report(site, at, within_days)
        except CalibError as error:
            silent[site.name] = str(error)
    anchors = kept_among(reports, _proven(asked, reports, silent))
    misfit = any(each.findings for each in anchors)
    waits = any(report.status.is_found for report in reports.values())
    document = answer.document(at, within_days, reports, anchors, silent)
    return Reply(document, answer.text, status=int(waits or misfit or bool(silent)))


def _asked(places: list[str]) -> Mapping[str, OtherRecords]:
    """The sites by their names; raises BadInputError for a name that two have."""
    named: dict[str, OtherRecords] = {}
    findings = []
    for site in map(other_records, places):
        if site.name in named:
            findings.append(Finding.typed("places", site.name, "a name of its own for each site, as NAME=FILE|URL"))
        named[site.name] = site
    if findings:
        raise BadInputError(findings)
    return named


def _report(site: OtherRecords, at: datetime, within_days: int) -> "SiteReport":
    from calib.procedures.sites.site_report import report_of_site
    from calib.records import database

    with database.reading(site.location) as session:
        return report_of_site(session, site.name, at, within_days)


def _proven(
    asked: Mapping[str, OtherRecords], reports: "Mapping[str, SiteReport]", silent: dict[str, str]
) -> "Mapping[tuple[str, str], list[LedgerFinding]]":
    """What does not fit of the heads that sites keep of one another, by who keeps them and whose they are."""
    from calib.procedures.verify.anchors import anchor_findings
    from calib.records import database

    proven: dict[tuple[str, str], list[LedgerFinding]] = {}
    for of in reports:
        asking = {by: heads for by, report in reports.items() if (heads := report.anchored.get(of))}
        if not asking:
            continue
        try:
            with database.reading(asked[of].location) as session:
                proven |= {(by, of): [*anchor_findings(session, heads)] for by, heads in asking.items()}
        except CalibError as error:  # it answered a moment ago
            silent[of] = str(error)
    return proven
