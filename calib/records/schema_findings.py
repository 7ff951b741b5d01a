"""The schema as the program makes it, against the one that is there: a CHECK, a key or a trigger changed by hand changes answers.

Of a file every statement that made a table, an index or a trigger is compared, and one fingerprint of them is asked before each
write. Of a server the names of tables, columns, keys, CHECKs, indexes and triggers are compared, and what its CHECKs and indexes
say; what a guard does is compared by `guards`.

Decision (2026-11). Each version of PostgreSQL writes the text of a CHECK in its own way, so the same tables are made as temporary
ones, in a transaction of another connection that is taken back, and read as that server writes them. Options: texts kept from when
the tables were made (whoever weakens a CHECK can write these too), the whole schema anew beside it (a right that the owner should
not lend). Cost: 57 temporary tables for a verification; where a login may make none, or on a replica, names alone are compared and
that is said. Policies are not compared: `person grants` prints them anew.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy import CheckConstraint, Connection, ForeignKeyConstraint, UniqueConstraint, create_engine, inspect, text
from sqlalchemy.schema import CreateIndex, CreateTable

from calib.records.expected_schema import SchemaName, is_as_made, schema_made
from calib.records.guards import guards_on_server
from calib.records.server_functions import LEDGER_GOES_ON
from calib.records.tables.evidence import METADATA
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import LedgerFinding

_OF_ALEMBIC = "alembic_version"
# An index that stands for a key has a name of the server's, and is compared as a key.
_TEXTS = """
    SELECT 'CHECK', c.relname || '.' || k.conname, pg_get_constraintdef(k.oid)
    FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid WHERE k.contype = 'c' AND c.relnamespace = {0}
    UNION ALL
    SELECT 'index', c.relname, t.relname || ': ' || pg_get_indexdef(c.oid) || CASE WHEN i.indisvalid THEN '' ELSE ' INVALID' END
    FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid JOIN pg_class t ON t.oid = i.indrelid
    WHERE c.relnamespace = {0} AND NOT EXISTS (SELECT FROM pg_constraint k WHERE k.conindid = c.oid)
"""
_TRIGGERS_ON_SERVER = """
    SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid
    WHERE NOT t.tgisinternal AND pg_table_is_visible(t.tgrelid)
"""


def schema_findings(connection: Connection) -> Iterator[LedgerFinding]:
    """What was taken out, added or changed in the schema, by name."""
    if connection.dialect.name != "sqlite":
        expected, present = _expected_on_server(), _present_on_server(connection)
        if texts_can_be_compared(connection):
            expected |= _as_this_server_writes(connection)
            texts = _texts(connection.exec_driver_sql(_TEXTS.format("current_schema()::regnamespace")))
            present |= {name: text for name, text in texts.items() if name in present}
        yield from _findings(expected, present)
    elif not is_as_made(connection):
        yield from _findings(_expected_in_file(), schema_made(connection))


def texts_can_be_compared(connection: Connection) -> bool:
    """Whether a server lets this login make temporary tables, to see how it writes a CHECK; of a file always."""
    if connection.dialect.name == "sqlite":
        return True
    asked = """
        SELECT has_database_privilege(current_database(), 'TEMPORARY') AND NOT pg_is_in_recovery() AND reset_val = 'off'
        FROM pg_settings WHERE name = 'default_transaction_read_only'
    """
    return bool(connection.execute(text(asked)).scalar_one())


def _as_this_server_writes(connection: Connection) -> dict[SchemaName, str]:
    """CHECKs and indexes of the program's tables as this server writes them: by another connection, since this one only reads."""
    from calib.records.migrations.on_postgresql import in_its_words  # noqa: PLC0415 (alembic takes 0.2 s to import)

    other = connection.engine.raw_connection()
    try:
        cursor = other.cursor()
        for table in METADATA.sorted_tables:
            made = str(CreateTable(table, include_foreign_key_constraints=[]).compile(dialect=connection.dialect))
            made = made.replace("%%", "%")  # doubled for a statement with parameters
            cursor.execute(in_its_words(made).replace("CREATE TABLE", "CREATE TEMPORARY TABLE", 1))
            for index in table.indexes:
                cursor.execute(str(CreateIndex(index).compile(dialect=connection.dialect)))
        cursor.execute(_TEXTS.format("pg_my_temp_schema()"))
        return _texts(cursor.fetchall())
    finally:
        other.rollback()
        other.close()


def _texts(rows: Iterable[Any]) -> dict[SchemaName, str]:
    """What CHECKs and indexes say, without the schema that their tables are in."""
    return {(str(kind), str(name)): re.sub(r" ON \S+ USING ", " USING ", str(said)) for kind, name, said in rows}


def _findings(expected: Mapping[SchemaName, str], present: Mapping[SchemaName, str]) -> Iterator[LedgerFinding]:
    for kind, name in sorted(expected.keys() - present.keys()):
        yield LedgerFinding(f"{kind} {name}", "is missing in the schema")
    for kind, name in sorted(present.keys() - expected.keys()):
        yield LedgerFinding(f"{kind} {name}", "is in the schema, and was not made by this program")
    for kind, name in sorted(expected.keys() & present.keys()):
        if expected[kind, name] != present[kind, name]:
            yield LedgerFinding(f"{kind} {name}", "was changed in the schema")


def _expected_in_file() -> dict[SchemaName, str]:
    """The same of new records, made in memory."""
    from calib.records.migrations import upgrade  # noqa: PLC0415 (alembic takes 0.2 s to import)

    engine = create_engine("sqlite://")
    with engine.connect() as connection:
        upgrade(connection, "head")
        made = schema_made(connection)
    engine.dispose()
    return made


def _expected_on_server() -> dict[SchemaName, str]:
    made: dict[SchemaName, str] = {("table", _OF_ALEMBIC): "", ("column", f"{_OF_ALEMBIC}.version_num"): "NOT NULL"}
    for table in METADATA.sorted_tables:
        made["table", table.name] = ""
        for column in table.columns:
            made["column", f"{table.name}.{column.name}"] = "" if column.nullable else "NOT NULL"
            if column.unique and not column.index:
                made["key", f"{table.name} ({column.name})"] = ""
        for constraint in table.constraints:
            made.update(_constraint(table.name, constraint))
        made.update({("index", str(index.name)): table.name for index in table.indexes})
        made.update({("trigger", name): table.name for name in guards_on_server(table.name)})
    made["trigger", LEDGER_GOES_ON] = str(LedgerEntry.__tablename__)
    return made


def _constraint(table: str, constraint: Any) -> dict[SchemaName, str]:
    if isinstance(constraint, CheckConstraint):
        return {("CHECK", f"{table}.{constraint.name}"): ""}
    columns = ", ".join(column.name for column in constraint.columns)
    if isinstance(constraint, UniqueConstraint):
        return {("key", f"{table} ({columns})"): ""}
    if isinstance(constraint, ForeignKeyConstraint):
        return {("reference", f"{table} ({columns})"): constraint.elements[0].target_fullname}
    return {}


def _present_on_server(connection: Connection) -> dict[SchemaName, str]:
    present = inspect(connection)
    made: dict[SchemaName, str] = {}
    for table in present.get_table_names():
        made["table", table] = ""
        for column in present.get_columns(table):
            made["column", f"{table}.{column['name']}"] = "" if column["nullable"] else "NOT NULL"
        for check in present.get_check_constraints(table):
            made["CHECK", f"{table}.{check['name']}"] = ""
        for key in present.get_unique_constraints(table):
            made["key", f"{table} ({', '.join(key['column_names'])})"] = ""
        for reference in present.get_foreign_keys(table):
            target = f"{reference['referred_table']}.{reference['referred_columns'][0]}"
            actions = "".join(f" {name} {action}" for name, action in sorted((reference.get("options") or {}).items()))
            made["reference", f"{table} ({', '.join(reference['constrained_columns'])})"] = target + actions
        for index in present.get_indexes(table):
            if "duplicates_constraint" not in index:
                made["index", str(index["name"])] = table
    made.update({("trigger", name): table for name, table in connection.execute(text(_TRIGGERS_ON_SERVER))})
    return made
