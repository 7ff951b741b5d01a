"""Methods as they count now: as declared, or as last amended."""

from collections.abc import Collection

from sqlmodel import Session, col, select

from calib.procedures.on_record.amended import Amended, revisions_by_owner
from calib.procedures.on_record.by_keys import among
from calib.procedures.on_record.by_name import not_there
from calib.records.record import key
from calib.records.tables.methods import Method, MethodRevision


def methods_in_force(session: Session, keys: Collection[int] | None = None) -> dict[int, Method]:
    """Methods by their key, in the order in which they were declared: some of them, or all."""
    return {record_id: each.now for record_id, each in amended_methods(session, keys).items()}


def amended_methods(session: Session, keys: Collection[int] | None = None) -> dict[int, Amended[Method]]:
    """The same with what was amended."""
    revisions = revisions_by_owner(session, MethodRevision, MethodRevision.method_id, keys)
    declared = session.exec(among(select(Method), Method.id, keys).order_by(col(Method.id)))
    return {key(method.id): Amended(method, revisions.get(key(method.id), ())) for method in declared}


def names_of_methods(session: Session) -> list[str]:
    """Names of the methods, in the order in which they were declared."""
    return list(session.exec(select(Method.method).order_by(col(Method.id))))


def method_named(session: Session, name: str) -> Amended[Method]:
    """The method of a name with what was amended; raises NotInRecordsError."""
    record_id = session.exec(select(Method.id).where(Method.method == name)).first()
    if record_id is None:
        known = session.exec(select(Method.method).order_by(col(Method.method)))
        raise not_there(f"method {name!r} in the records", known, name)
    return amended_methods(session, [record_id])[record_id]
