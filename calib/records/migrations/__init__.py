"""The schema's revisions (Alembic). A released revision is never edited: its records must be readable for ever."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection


def upgrade(connection: Connection, revision: str) -> None:
    """Bring the database of an open connection to a revision, inside its transaction."""
    from calib.records.migrations import on_postgresql  # noqa: PLC0415 (it needs this package)

    if connection.dialect.name == "postgresql":
        on_postgresql.listen(connection)
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent))
    config.attributes["connection"] = connection
    command.upgrade(config, revision)
