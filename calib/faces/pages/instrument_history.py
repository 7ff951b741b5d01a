"""An instrument's whole history at a desk, as the handed-out page of it has it, and the files kept with it and its certificates."""

from calib.faces.answers import instrument as answer
from calib.faces.handouts.instrument_page import facts
from calib.faces.pages.frame.routes import Filled, Pages, Sent
from calib.faces.pages.frame.visit import Visit
from calib.procedures.fleet.attach_file import kept_file
from calib.procedures.on_record.attached_files import PHOTOS
from calib.procedures.on_record.instrument_history import instrument_history

pages = Pages()
HISTORY = "/instruments/{tag:name}/history"


@pages.shows(HISTORY)
def history(visit: Visit, tag: str) -> Filled:
    """Certificates, events, checks, pairs, files, readings and impact reviews of one instrument."""
    document = answer.document(instrument_history(visit.reading(), tag, visit.at))
    content = {
        "tag": tag,
        "facts": facts(document["instrument"]),
        "reasons": document["reasons"],
        "kind": document["instrument"]["kind"],
        "paired_with": document["instrument"]["paired_with"],
        "used": answer.used_line(document["used"]),
        "open_reviews": answer.open_review_lines(document),
        "tables": answer.tables(document),
        "certificates": [each["certificate"] for each in document["calibrations"]],
        "photographs": [file for file in document["files"] if file["media_type"] in PHOTOS],
    }
    return Filled("instrument_history.html", content, title=f"{tag}: history")


@pages.shows("/files/{digest:name}")
def file_sent(visit: Visit, digest: str) -> Sent:
    """A file of the records by its digest, to be kept and not opened in the page: whoever made it is not trusted with that."""
    file = kept_file(visit.reading(), digest)
    return Sent(file.content, file.media_type, name=file.name)
