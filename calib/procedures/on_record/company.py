"""The company as its reports name it: of several records the latest counts."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib.records.tables.company import Company
from calib.records.tables.files import Attachment


@dataclass(frozen=True)
class CompanyMark:
    """A picture that stands for the company."""

    name: str
    media_type: str
    sha256: str
    content: bytes


@dataclass(frozen=True)
class CompanyOnRecord:
    """The company's name, where it is, how it is reached, and its mark."""

    name: str
    address: str
    contact: str | None
    base_address: str | None  # of its pages
    mark: CompanyMark | None


def company_on_record(session: Session) -> CompanyOnRecord | None:
    """The company as it was named last; None where nobody named it."""
    query = select(Company, Attachment).join(Attachment, isouter=True).order_by(col(Company.id).desc()).limit(1)
    last = session.exec(query).first()
    if last is None:
        return None
    company, file = last
    mark = None if file is None else CompanyMark(file.name, file.media_type, file.sha256, file.content)
    return CompanyOnRecord(company.name, company.address, company.contact, company.base_address, mark)
