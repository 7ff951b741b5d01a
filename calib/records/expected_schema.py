"""Whether the schema of a file is as the program makes it, by a fingerprint: asked before each write.

No table is imported here: whoever opens records imports it.
"""

import hashlib
import json
from collections.abc import Mapping

from sqlalchemy import Connection, text

# SHA-256 of what `schema_made` gives for a new file of the present schema.
FINGERPRINT = "264ad9b176d7c65b59c63cc8eba7563379622746a5bb48713e7b5852877eb42d"

_STATEMENTS = "SELECT type, name, tbl_name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY type, name"

SchemaName = tuple[str, str]  # "index", "ix_outlet_job_id"


def schema_made(connection: Connection) -> dict[SchemaName, str]:
    """What made each table, index and trigger of a file: kind and name -> table and statement."""
    return {
        (str(kind), str(name)): f"{table}: {sql}" for kind, name, table, sql in connection.execute(text(_STATEMENTS))
    }


def fingerprint(made: Mapping[SchemaName, str]) -> str:
    """SHA-256 of the statements of a schema."""
    content = json.dumps(sorted((*named, statement) for named, statement in made.items()))
    return hashlib.sha256(content.encode("utf-8", "surrogateescape")).hexdigest()


def is_as_made(connection: Connection) -> bool:
    """Whether the schema of a file is the one that the program makes; a server's is not compared here."""
    return connection.dialect.name != "sqlite" or fingerprint(schema_made(connection)) == FINGERPRINT
