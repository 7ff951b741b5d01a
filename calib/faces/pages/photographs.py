"""Photographs kept with an outlet or a reading: the picture alone, whatever else the camera wrote into its file."""

from threading import Lock

from calib.errors import NotInRecordsError
from calib.faces.pages.frame.door import AROUND_A_FILE
from calib.faces.pages.frame.form import number_of
from calib.faces.pages.frame.routes import Goto, Pages, Sent, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.outlet import AN_OUTLET, outlet
from calib.faces.pages.reading import A_READING, shown_reading
from calib.procedures.fleet.attach_file import FileRead, attach_to_outlet, attach_to_reading, kept_file
from calib.procedures.fleet.photograph import LARGEST_PHOTOGRAPH, photograph
from calib.procedures.on_record.attached_files import PHOTOS

pages = Pages()
_LARGEST = LARGEST_PHOTOGRAPH + AROUND_A_FILE
_DRAWN_ONE_BY_ONE = Lock()  # a small file may be a picture of 200 MB
_KEPT = "private, max-age=31536000, immutable"  # a digest never has another content


@pages.shows("/photographs/{digest:name}")
def picture(visit: Visit, digest: str) -> Sent:
    """A photograph by the digest of its content."""
    file = kept_file(visit.reading(), digest)
    if file.media_type not in PHOTOS:
        raise NotInRecordsError("this file is no photograph")
    return Sent(file.content, file.media_type, headers={"Cache-Control": _KEPT})


@pages.takes(f"{AN_OUTLET}/photographs", again=outlet, act="record", largest=_LARGEST)
def keep_with_outlet(visit: Visit, job: str, outlet: str) -> Goto:
    """Keep a photograph with an outlet."""
    file = _sent(visit)
    with visit.writing_last() as session:
        attach_to_outlet(
            session, job, outlet, file, visit.form["about"].strip() or None, visit.signature("page photograph")
        )
    return Goto(address("/jobs/{}/outlets/{}", job, outlet), f"the photograph is kept with {outlet}")


@pages.takes(f"{A_READING}/photographs", again=shown_reading, act="record", largest=_LARGEST)
def keep_with_reading(visit: Visit, job: str, reading: str) -> Goto:
    """Keep a photograph with a reading."""
    file = _sent(visit)
    with visit.writing_last() as session:
        about = visit.form["about"].strip() or None
        attach_to_reading(session, job, number_of(reading), file, about, visit.signature("page photograph"))
    return Goto(address("/jobs/{}/readings/{}", job, reading), f"the photograph is kept with reading {reading}")


def _sent(visit: Visit) -> FileRead:
    """The photograph that was sent; raises BadInputError where none was, or it is none."""
    with _DRAWN_ONE_BY_ONE:
        return visit.form.file_read("photograph", "a picture that was taken or chosen", photograph)
