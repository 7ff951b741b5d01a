"""What a group asks of each of its sites: fleet, what waits, reports issued, the head of the ledger, heads kept of others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, func, select

from calib.confirmation.interval import is_put_aside, is_retired
from calib.procedures.fleet.status import Status, what_waits
from calib.procedures.verify.anchors import LedgerHead, head_of, heads_by_records, heads_on_record
from calib.records.tables.reports import IssuedReport
from calib.records.verification import LedgerFinding


@dataclass(frozen=True)
class Fleet:
    """How many instruments a site has, retired ones left out."""

    ready: int  # in use, and the gate lets them through
    refused: int  # in use, and it does not
    put_aside: int


@dataclass(frozen=True)
class SiteReport:
    """One site as its own records tell it."""

    fleet: Fleet
    status: Status
    reports: int  # issued, revisions counted
    last_issued_at: str | None
    head: LedgerHead
    anchored: Mapping[str, Sequence[LedgerHead]]  # of other ledgers, by the name of their records


def report_of_site(session: Session, name: str, at: datetime, within_days: int) -> SiteReport:
    """What the records of a site answer at a time; raises BadInputError for a ledger without an entry."""
    head = head_of(session, name, at)
    status = what_waits(session, at, within_days)
    count, last = session.exec(select(func.count(), func.max(col(IssuedReport.issued_at)))).one()
    return SiteReport(_fleet(status), status, count, last, head, heads_by_records(heads_on_record(session)))


def _fleet(status: Status) -> Fleet:
    of_site = status.fleet
    in_service = {tag: each for tag, each in of_site.register.items() if not is_retired(each, of_site.on)}
    put_aside = {tag for tag, each in in_service.items() if is_put_aside(each, of_site.on)}
    ready = sum(of_site.decisions[tag].allowed for tag in in_service.keys() - put_aside)
    return Fleet(ready, len(in_service) - len(put_aside) - ready, len(put_aside))


@dataclass(frozen=True)
class KeptOfSite:
    """The heads that one site keeps of another's ledger, and whether that still holds them."""

    by: str
    of: str
    heads: Sequence[LedgerHead]
    findings: Sequence[LedgerFinding] | None  # absent: the other was not asked, or not reached


def kept_among(
    reports: Mapping[str, SiteReport], findings: Mapping[tuple[str, str], Sequence[LedgerFinding]]
) -> list[KeptOfSite]:
    """What sites keep of one another; `findings` by who keeps the heads and whose they are, of those that were proven."""
    return [
        KeptOfSite(by, of, heads, findings.get((by, of)))
        for by, report in reports.items()
        for of, heads in report.anchored.items()
    ]
