"""INSERT ... ON CONFLICT, which both databases have, each under an import of its own."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite


def insert_into(conn: sa.Connection, table: sa.Table) -> postgresql.Insert | sqlite.Insert:
    """An insert that can say what to do with a row that is there already."""
    return postgresql.insert(table) if conn.dialect.name == "postgresql" else sqlite.insert(table)
