"""What every table shares: one metadata with named constraints, and the number that names a row."""

from __future__ import annotations

from sqlalchemy import Column, MetaData

from collector.store.types import BigId

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
metadata = MetaData(naming_convention=NAMING)


def row_id() -> Column[int]:
    """The column that names a row."""
    return Column("id", BigId, primary_key=True, autoincrement=True)
