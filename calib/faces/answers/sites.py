"""Several sites at once, as `calib sites` answers."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime

from calib.counted import count_of
from calib.faces.answers import due
from calib.faces.answers.verification import finding_lines, findings_listed
from calib.faces.plain_text import one_line, table_text
from calib.faces.written import Content
from calib.procedures.sites.site_report import KeptOfSite, SiteReport

_HEADER = ("site", "ready", "refused", "put aside", "not accepted", "open reviews", "reports", "ledger entry")


def document(
    at: datetime,
    within_days: int,
    reports: Mapping[str, SiteReport],
    anchors: Sequence[KeptOfSite],
    silent: Mapping[str, str],
) -> Content:
    """Each site by its name, the heads that sites keep of one another, and the sites that did not answer."""
    return {
        "on": str(at.date()),
        "within_days": within_days,
        "sites": [{"site": name} | _site(report) for name, report in reports.items()],
        "anchors": [
            {
                "kept_by": each.by,
                "records": each.of,
                "heads": len(each.heads),
                "last": asdict(each.heads[-1]),
                "findings": None if each.findings is None else findings_listed(each.findings),
            }
            for each in anchors
        ],
        "not_reached": [{"site": name, "reason": reason} for name, reason in silent.items()],
    }


def _site(report: SiteReport) -> Content:
    fleet, waiting = report.status.fleet, report.status.waiting
    return {
        "fleet": asdict(report.fleet),
        **due.document(fleet.on, fleet.within_days, fleet.entries, fleet.open_reviews),
        "not_accepted": [asdict(each) for each in waiting],
        "jobs_not_measured": [each.job for each in report.status.jobs if each.left],
        "last_backup": None if report.status.backup is None else asdict(report.status.backup),
        "reports_issued": report.reports,
        "last_issued_at": report.last_issued_at,
        "head": asdict(report.head),
    }


def text(answer: Content) -> str:
    """The same for people."""
    rows = [
        (
            one_line(site["site"]),
            *(str(site["fleet"][each]) for each in ("ready", "refused", "put_aside")),
            *(str(len(site[each])) for each in ("not_accepted", "open_reviews")),
            str(site["reports_issued"]),
            str(site["head"]["sequence"]),
        )
        for site in answer["sites"]
    ]
    return "\n".join(
        [
            *([table_text(_HEADER, rows)] if rows else []),
            *(line for site in answer["sites"] for line in _of_site(site)),
            *(line for each in answer["anchors"] for line in _kept(each)),
            *(f"{one_line(each['site'])} did not answer: {each['reason']}" for each in answer["not_reached"]),
        ]
    )


def _of_site(site: Content) -> Iterator[str]:
    yield f"\n{one_line(site['site'])}: digest {site['head']['digest']}"
    yield due.text(site)


def _kept(each: Content) -> Iterator[str]:
    by, of = one_line(each["kept_by"]), one_line(each["records"])
    told = f"{by} keeps {count_of(each['heads'], 'head', 'heads')} of {of}, the last of {each['last']['time']}"
    if each["findings"] is None:
        yield f"{told}: not asked, {of} did not answer or was not named"
    elif each["findings"]:
        yield from (f"{told}: {line}" for line in finding_lines(each))
    else:
        yield f"{told}: {of} still holds them"
