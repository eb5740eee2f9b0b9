"""How a shot's values are stored: as one JSON object in the shot's row, key to value in canonical units.

A new key needs no migration, and plain SQL reads a value by its name, the same words on both databases::

    SELECT counter, characteristics ->> 'cushion' FROM shots
"""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from collector.store.tables import shots

FloatArray = NDArray[np.float64]


def as_text(dialect: str) -> sa.ColumnElement[str]:
    """The stored object as text, to be decoded many rows at a time."""
    column = shots.c.characteristics
    return sa.cast(column, sa.Text) if dialect == "postgresql" else sa.type_coerce(column, sa.Text)


def columns(texts: Sequence[str], keys: Sequence[str]) -> dict[str, FloatArray]:
    """Decode stored objects into one array a key, NaN where a shot has no such value."""
    rows = json.loads("[" + ",".join(texts) + "]")
    missing = float("nan")
    return {key: np.array([row.get(key, missing) for row in rows], dtype=np.float64) for key in keys}


def distinct_keys(conn: sa.Connection, where: Sequence[sa.ColumnElement[bool]]) -> list[str]:
    """Every key that one of the selected shots has a value for, sorted."""
    each = sa.func.jsonb_object_keys if conn.dialect.name == "postgresql" else sa.func.json_each
    names = each(shots.c.characteristics).table_valued("key")
    query = sa.select(names.c.key).distinct().select_from(shots.join(names, sa.true())).where(*where)
    return sorted(conn.execute(query).scalars())
