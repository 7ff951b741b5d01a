"""The schema as the program makes it, against the one that is there: a CHECK, a key or a trigger changed by hand changes answers.

Of a file every statement that made a table, an index or a trigger is compared; of a server the names of tables, columns, keys,
CHECKs, indexes and triggers, since each version of PostgreSQL writes their text in its own way (what a guard does is compared by
`guards`).

Decision (2026-11). The schema of a file is held by one fingerprint of what made it, asked before each write; of a server by
names, since each version of PostgreSQL writes the text of a CHECK in its own way. Options were to compare texts there too, or to
make the schema anew beside it, which needs rights that the owner should not lend. Cost: a CHECK of a server whose text was
weakened under its own name is not seen.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import CheckConstraint, Connection, ForeignKeyConstraint, UniqueConstraint, create_engine, inspect, text

from calib.records.expected_schema import SchemaName, is_as_made, schema_made
from calib.records.guards import guards_on_server
from calib.records.server_functions import LEDGER_GOES_ON
from calib.records.tables.evidence import METADATA
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import LedgerFinding

_OF_ALEMBIC = "alembic_version"
_TRIGGERS_ON_SERVER = """
    SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid
    WHERE NOT t.tgisinternal AND pg_table_is_visible(t.tgrelid)
"""


def schema_findings(connection: Connection) -> Iterator[LedgerFinding]:
    """What was taken out, added or changed in the schema, by name."""
    if connection.dialect.name != "sqlite":
        yield from _findings(_expected_on_server(), _present_on_server(connection))
    elif not is_as_made(connection):
        yield from _findings(_expected_in_file(), schema_made(connection))


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
            made["reference", f"{table} ({', '.join(reference['constrained_columns'])})"] = target
        for index in present.get_indexes(table):
            if "duplicates_constraint" not in index:
                made["index", str(index["name"])] = table
    made.update({("trigger", name): table for name, table in connection.execute(text(_TRIGGERS_ON_SERVER))})
    return made
