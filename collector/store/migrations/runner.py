"""Running the migrations on a connection that somebody else opened and will commit."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError

from collector.errors import StoreError

# Any fixed number: PostgreSQL lets one process at a time hold it.
LOCK = 4_207_700_001


def config() -> Config:
    """Alembic's settings, made here instead of read from a file."""
    made = Config()
    # A percent sign in the path would be read as a reference to another setting.
    made.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    made.set_main_option("path_separator", "os")
    return made


def is_current(connection: sa.Connection) -> bool:
    """Whether the newest migration has been applied."""
    heads = set(ScriptDirectory.from_config(config()).get_heads())
    return set(MigrationContext.configure(connection).get_current_heads()) == heads


def to_head(connection: sa.Connection) -> None:
    """Apply what is missing, inside the transaction of `connection`.

    Raises
    ------
    StoreError
        The store names a migration that this version does not have.
    """
    made = config()
    made.attributes["connection"] = connection
    try:
        command.upgrade(made, "head")
    except CommandError as error:
        raise StoreError(
            f"the store was written by a newer version of evenrun ({error}); install that version"
        ) from error
