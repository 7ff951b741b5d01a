"""The company as its reports name it, as `calib company set` and `calib company show` answer."""

from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.on_record.company import CompanyOnRecord


def document(company: CompanyOnRecord | None) -> Content:
    """Name, address, contact, the address of its pages and the mark; nothing where nobody named it."""
    if company is None:
        return {"company": None}
    mark = company.mark
    return {
        "company": {
            "name": company.name,
            "address": company.address,
            "contact": company.contact,
            "base_address": company.base_address,
            "mark": None if mark is None else {"name": mark.name, "media_type": mark.media_type, "sha256": mark.sha256},
        }
    }


def text(answer: Content) -> str:
    """The same for people."""
    company = answer["company"]
    if company is None:
        return "nobody has said what the company is called: its reports name none"
    said = [company["name"], company["address"], company["contact"], company["base_address"]]
    said += [f"mark: {company['mark']['name']}"] if company["mark"] else []
    return "\n".join(one_line(each) for each in said if each)
