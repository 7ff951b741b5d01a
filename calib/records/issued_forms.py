"""The forms of an issued report as they are kept: each byte once, and read back as they were issued, to the last of them.

A form is kept as it is, compressed (`zlib`, RFC 1950), or `derived`: with what another form of the same report holds already left
out, as a mail repeats the PDF that is attached to it. What is left is

    a line of JSON: the pieces of the form in their order, ["plain" | "base64", length] of its own, ["base64", "pdf"] of another;
    then the pieces of its own one after the other, decoded where they stood as base64 (RFC 2045, 6.8: lines of 76, CR LF between)

and that compressed. The digest is always that of the form itself, and is checked whenever it is read.

Decision (2026-11). An issue is frozen bytes, and a file is checked by its bytes alone. They are kept once
(`records/issued_forms`): compressed, a mail as what it has beyond the forms attached to it. Options: making the mail anew when it
is asked for (a later drawing library draws other bytes); taking JSON and CSV out of the PDF too (3 % of an issue; its streams are
deflated by another's code). Cost: a form is put together when it is read, and a damaged PDF takes its mail with it; a mail's
pictures have 128 colours, none off by more than 2 % of full scale.
"""

import base64
import hashlib
import json
import re
import zlib
from collections.abc import Mapping

from sqlalchemy.exc import NoResultFound
from sqlmodel import Session, select

from calib.errors import RecordsError, Step
from calib.records.tables.reports import IssuedForm

_ZLIB, _DERIVED = "zlib", "derived"
_LARGEST = 2**28  # [byte] of a form that is compressed, so that none fills the memory when it is read
_LINE = 76  # signs
_AS_BASE64 = re.compile(rb"(?:[A-Za-z0-9+/]{%d}\r\n)+[A-Za-z0-9+/]*={0,2}" % _LINE)


def kept_forms(forms: Mapping[str, tuple[str, bytes]], issued_report_id: int) -> list[IssuedForm]:
    """The records of a report's forms: form -> name of its file and its bytes."""
    whole = {hashlib.sha256(content).digest(): form for form, (_, content) in forms.items()}
    records = []
    for form, (name, content) in forms.items():
        encoding, stored = _kept(content, whole)
        record = IssuedForm(
            issued_report_id=issued_report_id,
            form=form,
            name=name,
            sha256=hashlib.sha256(content).hexdigest(),
            content=stored,
            encoding=encoding,
        )
        records.append(record)
    return records


def form_bytes(session: Session, form: IssuedForm, within: tuple[str, ...] = ()) -> bytes:
    """The bytes of a form as they were issued; raises RecordsError where they are not those of its digest.

    `within` names the forms that it is read for.
    """
    try:
        content = _read(session, form, (*within, form.form))
        is_whole = hashlib.sha256(content).hexdigest() == form.sha256
    except (zlib.error, ValueError, TypeError, RecursionError, NoResultFound) as error:
        raise RecordsError(_changed(form)) from error
    if not is_whole:
        raise RecordsError(_changed(form))
    return content


def is_as_issued(session: Session, form: IssuedForm) -> bool:
    """Whether the kept bytes still make a form with its digest: then they are those that were issued."""
    try:
        form_bytes(session, form)
    except RecordsError:
        return False
    return True


def _changed(form: IssuedForm) -> str:
    return f"issued_form {form.id}, {form.name}: its bytes are not those that were issued: {Step.VERIFY} names what was changed"


def _kept(content: bytes, whole: Mapping[bytes, str]) -> tuple[str | None, bytes]:
    """How a form is kept in the fewest bytes, and these."""
    if len(content) > _LARGEST:
        return None, content
    pieces, own = _pieces(content, whole)
    if any(isinstance(piece, str) for _, piece in pieces):
        return _DERIVED, zlib.compress(json.dumps(pieces).encode() + b"\n" + own, 9)
    compressed = zlib.compress(content, 9)
    return (_ZLIB, compressed) if len(compressed) < len(content) else (None, content)


def _pieces(content: bytes, whole: Mapping[bytes, str]) -> tuple[list[tuple[str, int | str]], bytes]:
    """The pieces of a form, and those of its own one after the other."""
    pieces: list[tuple[str, int | str]] = []
    own = []
    last = 0
    for run in _AS_BASE64.finditer(content):
        decoded = _decoded(run[0])
        if decoded is None:
            continue  # it only looks like it
        before = content[last : run.start()]
        other = whole.get(hashlib.sha256(decoded).digest())
        pieces += [("plain", len(before)), ("base64", len(decoded) if other is None else other)]
        own += [before] if other is not None else [before, decoded]
        last = run.end()
    return [*pieces, ("plain", len(content) - last)], b"".join([*own, content[last:]])


def _decoded(text: bytes) -> bytes | None:
    """What stands as base64; None where encoding it again would give another text."""
    try:
        content = base64.b64decode(text)
    except ValueError:
        return None
    return content if _as_base64(content) == text else None


def _as_base64(content: bytes) -> bytes:
    text = base64.b64encode(content)
    return b"\r\n".join(text[start : start + _LINE] for start in range(0, len(text), _LINE))


def _read(session: Session, form: IssuedForm, within: tuple[str, ...]) -> bytes:
    if form.content is None:
        raise ValueError("a form of which nothing is kept")
    if form.encoding is None:
        return form.content
    content = _inflated(form.content)
    return content if form.encoding == _ZLIB else _put_together(session, form, content, within)


def _inflated(content: bytes) -> bytes:
    inflating = zlib.decompressobj()
    inflated = inflating.decompress(content, 2 * _LARGEST)
    if not inflating.eof or inflating.unused_data:
        raise ValueError("not what was compressed")
    return inflated


def _put_together(session: Session, form: IssuedForm, content: bytes, within: tuple[str, ...]) -> bytes:
    listed, _, own = content.partition(b"\n")
    made, start = [], 0
    for kind, piece in json.loads(listed):
        if isinstance(piece, str):
            part = _other(session, form, piece, within)
        else:
            part = own[start : start + piece]
            start += piece
        made.append(_as_base64(part) if kind == "base64" else part)
    return b"".join(made)


def _other(session: Session, form: IssuedForm, name: str, within: tuple[str, ...]) -> bytes:
    """Another form of the report."""
    if name in within:
        raise ValueError(f"a form {name} that is derived from itself")
    asked = select(IssuedForm).where(IssuedForm.issued_report_id == form.issued_report_id, IssuedForm.form == name)
    return form_bytes(session, session.exec(asked).one(), within)
