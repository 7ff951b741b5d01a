"""Find instruments and their calibrations by the names that people type."""

from collections.abc import Collection, Iterable

from sqlmodel import Session, col, select

from calib.confirmation.interval import RETIREMENT
from calib.counted import count_of
from calib.errors import NotInRecordsError
from calib.procedures.on_record.amended import Amended, amended_instruments
from calib.procedures.on_record.what_counts import not_retracted, not_withdrawn
from calib.procedures.typed.spelling import did_you_mean
from calib.records.tables.calibrations import Calibration
from calib.records.tables.events import Event
from calib.records.tables.instruments import Instrument

_LISTED = 20  # names that there are, beside one that is near
_SHORTEST_PREFIX = 8  # characters of a digest that a person may type instead of the whole


def not_there(what: str, known: Iterable[str], typed: str = "") -> NotInRecordsError:
    """The error of a name that nothing bears: what was looked for and where, the names that there are, and what may be meant."""
    names = list(known)
    near = did_you_mean(typed, names)
    more = f" and {len(names) - _LISTED} more" if near and len(names) > _LISTED else ""
    listed = names[:_LISTED] if more else names
    return NotInRecordsError(f"no {what}: there is {', '.join(listed) or 'none'}{more}{near}")


def digest_meant(typed: str, digests: Iterable[str], singular: str, plural: str) -> str:
    """The one SHA-256 that begins with what was typed; raises NotInRecordsError, naming whose it was to be."""
    wanted = typed.strip().lower()
    own = {digest for digest in digests if digest.startswith(wanted)} if len(wanted) >= _SHORTEST_PREFIX else set()
    if len(own) != 1:
        told = count_of(len(own), singular, plural) if own else f"no {singular}"
        more = f"type at least {_SHORTEST_PREFIX} characters of one"
        raise NotInRecordsError(f"{told} with a SHA-256 that begins with {typed!r}: {more}")
    return own.pop()


def instrument_tagged(session: Session, tag: str) -> Instrument:
    """The instrument of a tag, as it counts now; raises NotInRecordsError."""
    return amended_instrument(session, tag).now


def amended_instrument(session: Session, tag: str) -> Amended[Instrument]:
    """The instrument of a tag with what was amended; raises NotInRecordsError."""
    record_id = session.exec(select(Instrument.id).where(Instrument.tag == tag)).first()
    if record_id is None:
        raise not_there(
            f"instrument {tag!r} in the records",
            session.exec(select(Instrument.tag).order_by(col(Instrument.tag))),
            tag,
        )
    return amended_instruments(session, [record_id])[record_id]


def calibration_numbered(session: Session, instrument: Instrument, certificate: str | None) -> Calibration:
    """The calibration of a certificate number, or the latest where none is given, before one that was withdrawn.

    Raises NotInRecordsError.
    """
    own = session.exec(
        select(Calibration)
        .where(Calibration.instrument_id == instrument.id)
        .order_by(col(Calibration.calibrated_on), col(Calibration.id))
    ).all()
    wanted = [each for each in own if certificate in (None, each.certificate)]
    if not wanted:
        what = f"certificate {certificate or ''!r} of {instrument.tag} in the records"
        raise not_there(what, (each.certificate for each in own), certificate or "")
    if certificate is None:
        counting = select(Calibration.id).where(Calibration.instrument_id == instrument.id, not_withdrawn())
        counts = set(session.exec(counting))
        wanted = [each for each in wanted if each.id in counts] or wanted
    return wanted[-1]


def tags_of(session: Session, instruments: Collection[int]) -> dict[int | None, str]:
    """Tags of some instruments, by their key."""
    named = select(Instrument.id, Instrument.tag).where(col(Instrument.id).in_(instruments))
    return dict(session.exec(named).all())


def tags_in_use(session: Session) -> list[str]:
    """Tags of the instruments that are not retired."""
    tags = session.exec(select(Instrument.tag).order_by(col(Instrument.tag))).all()
    retired = retired_among(session, tags)
    return [tag for tag in tags if tag not in retired]


def retired_among(session: Session, tags: Collection[str]) -> dict[str, str]:
    """Those of some tags whose instruments are retired, and since when."""
    if not tags:
        return {}
    retired = select(Instrument.tag, Event.at).join(Event).where(Event.kind == RETIREMENT, not_retracted(Event))
    last_first = retired.where(col(Instrument.tag).in_(sorted(tags))).order_by(col(Event.id).desc())
    return dict(session.exec(last_first).all())  # of several the first one
