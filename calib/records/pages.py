"""Pages and indexes: that a query by an index gives the rows that the tables hold.

Of a file SQLite's own checks (PRAGMA integrity_check and foreign_key_check); of a server its extension amcheck where the owner has
installed it, since only the server reads its pages.

Source: SQLite documentation, "PRAGMA Statements"; PostgreSQL documentation, F.1 "amcheck".
"""

from collections.abc import Iterator, Sequence

from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError

from calib.records.verification import LedgerFinding

_INDEXES = """
    SELECT c.oid, c.relname FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid JOIN pg_am a ON a.oid = c.relam
    WHERE a.amname = 'btree' AND c.relnamespace = current_schema()::regnamespace ORDER BY c.relname
"""
_MAY_CHECK = """
    SELECT COALESCE(bool_or(has_function_privilege(p.oid, 'EXECUTE')), false) FROM pg_proc p
    JOIN pg_depend d ON d.objid = p.oid AND d.deptype = 'e' JOIN pg_extension e ON e.oid = d.refobjid AND e.extname = 'amcheck'
    WHERE p.proname = 'bt_index_check' AND p.pronargs > 1 AND pg_function_is_visible(p.oid)
"""


def page_findings(connection: Connection, tables: Sequence[str] = ()) -> Iterator[LedgerFinding]:
    """What is wrong with the pages of a file and with its references; of some tables alone where they are named."""
    if connection.dialect.name != "sqlite":
        yield from _index_findings(connection)
        return
    for table in tables or ("",):
        asked = f"({table})" if table else ""
        for (said,) in connection.execute(text(f"PRAGMA integrity_check{asked}")):
            if said != "ok":
                yield LedgerFinding(f"pages of {table}" if table else "pages", str(said))
        for child, row, parent, _ in connection.execute(text(f"PRAGMA foreign_key_check{asked}")):
            yield LedgerFinding(f"{child} {row}", f"refers to a row of {parent} that is not there")
    yield from _read_by_index(connection, tables)


def _read_by_index(connection: Connection, tables: Sequence[str]) -> Iterator[LedgerFinding]:
    """Each index read from end to end gives the rows of its table: integrity_check passes over some damaged headers of its rows."""
    indexes = connection.execute(
        text("SELECT tbl_name, name FROM sqlite_master WHERE type = 'index' ORDER BY name")
    ).all()
    for table, index in indexes:
        if tables and table not in tables:
            continue
        rows = f'SELECT count(*), total(rowid) FROM "{table}"'  # noqa: S608 (names of the schema)
        try:
            same = (
                connection.execute(text(f'{rows} INDEXED BY "{index}"')).one()
                == connection.execute(text(f"{rows} NOT INDEXED")).one()
            )
        except DBAPIError as error:
            yield LedgerFinding(f"index {index}", f"cannot be read: {error.orig}")
        else:
            if not same:
                yield LedgerFinding(f"index {index}", f"gives other rows than its table {table} holds")


def are_proven(connection: Connection) -> bool:
    """Whether pages can be looked at: always those of a file, those of a server where this login may call its extension amcheck."""
    return connection.dialect.name == "sqlite" or bool(connection.execute(text(_MAY_CHECK)).scalar_one())


def _index_findings(connection: Connection) -> Iterator[LedgerFinding]:
    if not are_proven(connection):
        return
    for oid, name in connection.execute(text(_INDEXES)).all():
        try:
            with connection.begin_nested():
                connection.execute(text("SELECT bt_index_check(:oid, true)"), {"oid": oid})
        except DBAPIError as error:
            yield LedgerFinding(f"index {name}", " ".join(str(error.orig).split()))
