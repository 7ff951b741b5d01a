"""Text of a file is read fast where it is text, and whatever bytes stand in its place are read all the same."""

from sqlalchemy import text

from calib.records import database
from calib.records.on_file import rows_of

GOOD, BAD = (
    "SELECT 'Zürich' AS place",
    "SELECT CAST(X'532DFF' AS TEXT) AS outlet",
)  # "S-", and a byte that begins no sign


def test_bytes_that_are_no_text_are_read_after_text_and_before_it(tmp_path):
    path = str(tmp_path / "records.sqlite")
    database.make(path)
    with database.reading(path) as session:
        read = [rows_of(session.connection(), text(query))[0][0] for query in (GOOD, BAD, GOOD)]
    assert read == ["Zürich", "S-\udcff", "Zürich"]
    assert read[1].encode("utf-8", "surrogateescape") == b"S-\xff"


def test_text_that_is_read_otherwise_afterwards_may_still_be_any_bytes(tmp_path):
    path = str(tmp_path / "records.sqlite")
    database.make(path)
    with database.reading(path) as session:
        rows_of(session.connection(), text(GOOD))
        assert session.connection().execute(text(BAD)).scalar_one() == "S-\udcff"
