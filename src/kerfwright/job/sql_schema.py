"""Tables of the store that is a database, and how an older database is brought to them.

Versions are only ever added: a row, once there, is not changed, and the newest one counts. Blobs
are found by their hash. Every table is plain enough for any database SQLAlchemy speaks to.
"""

from __future__ import annotations

import threading

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import (
    Column,
    Connection,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    inspect,
)

from kerfwright.errors import UnreadableError, UsageError

VERSION_TABLE = "kerfwright_schema"
"""Where the database keeps the last step that was done on it."""

METADATA = MetaData()

BLOBS = Table(
    "blobs",
    METADATA,
    Column("sha256", String(64), primary_key=True),
    Column("data", LargeBinary, nullable=False),
)

JOBS = Table(
    "job_versions",
    METADATA,
    Column("job_id", String(80), primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    # The version whose content this one has: its own, or an earlier one that undo came back to.
    Column("basis", Integer, nullable=False),
    Column("saved_at", String(32), nullable=False),
    Column("changed", Text, nullable=False),
    Column("document", Text, nullable=False),
)

ENTRIES = Table(
    "book_versions",
    METADATA,
    Column("book", String(16), primary_key=True),
    Column("entry_id", String(80), primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("saved_at", String(32), nullable=False),
    Column("document", Text, nullable=False),
)

_ONE_AT_A_TIME = threading.Lock()  # Alembic keeps the running step in its module


def is_current(connection: Connection, place: str) -> bool:
    """Return whether a database has the form of today; one without tables has not.

    Raises
    ------
    UnreadableError
        If a newer program wrote it.
    UsageError
        If it belongs to another program.
    """
    tables = set(inspect(connection).get_table_names())
    if not tables:
        return False
    if VERSION_TABLE not in tables:
        strange = ", ".join(sorted(tables)[:3])
        raise UsageError(
            f"{place} belongs to another program, it holds {strange}; choose another database"
        )
    options = {"version_table": VERSION_TABLE}
    done = MigrationContext.configure(connection, opts=options).get_current_revision()
    scripts = ScriptDirectory.from_config(_config())
    if done is not None and done not in {script.revision for script in scripts.walk_revisions()}:
        raise UnreadableError(
            f"{place} has form {done}, this program knows forms up to "
            f"{scripts.get_current_head()}; open it with the newer program that wrote it"
        )
    return done == scripts.get_current_head()


def upgrade(connection: Connection) -> None:
    """Bring a database to the form of today, within the transaction the connection is in."""
    config = _config()
    config.attributes["connection"] = connection
    with _ONE_AT_A_TIME:
        command.upgrade(config, "head")


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", "kerfwright.job:migrations")
    return config
