"""How a shot's values are stored: as one JSON object in the shot's row, key to value in canonical units.

A new key needs no migration, and plain SQL reads a value by its name, the same words on both databases::

    SELECT counter, characteristics ->> 'cushion' FROM shots
    SELECT counter, value, original_value, original_unit FROM shot_values WHERE key = 'barrel_temperature.1'

The view `shot_values` has one row a value. It also reads keys with a point in them, which SQLite's operator
takes for a path unless they are quoted: ``characteristics ->> '$."barrel_temperature.1"'``.

Measured with a million shots on both databases (tests/benchmarks/bench_store.py). Decoded by Arrow, many
rows at a time, a page of 100,000 shots is read as fast on SQLite as from lists of numbers and a shared list
of keys. Those would take a third less room, but every writer would have to keep the lists of keys, and plain
SQL would have to join them. A row for every value reads and writes two to three times slower. Packed numbers
cannot be read by name in SQLite without a function of ours.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import sqlalchemy as sa
from numpy.typing import NDArray
from pyarrow.json import ParseOptions, ReadOptions, read_json

from collector.store.tables import shots

FloatArray = NDArray[np.float64]

WORTH_ARROW = 200  # shots; fewer are decoded as fast by the standard library

# Decoded in blocks of this many bytes, on one core: the other belongs to the charts.
_READING = ReadOptions(use_threads=False, block_size=4 * 1_048_576)


def as_text() -> sa.ColumnElement[str]:
    """The stored object as text, to be decoded many rows at a time."""
    # The cast costs the databases nothing, the column being text; it keeps each row from being decoded alone.
    return sa.cast(shots.c.characteristics, sa.Text).label("characteristics")


def columns(texts: Sequence[str], keys: Sequence[str]) -> dict[str, FloatArray]:
    """Decode stored objects into one array a key, NaN where a shot has no such value."""
    if not texts or not keys:
        return {key: np.empty(len(texts)) for key in keys}
    if len(texts) < WORTH_ARROW:
        return _few(texts, keys)
    schema = pa.schema([(key, pa.float64()) for key in dict.fromkeys(keys)])
    asked_only = ParseOptions(explicit_schema=schema, unexpected_field_behavior="ignore")
    lines = pa.BufferReader("\n".join(texts).encode())
    table = read_json(lines, read_options=_READING, parse_options=asked_only)
    return {key: table[key].to_numpy() for key in keys}


def _few(texts: Sequence[str], keys: Sequence[str]) -> dict[str, FloatArray]:
    """Without Arrow, which reads in a thread of its own: on a busy machine one waits longest for that."""
    rows = json.loads(f"[{','.join(texts)}]")
    return {key: np.array([row.get(key) for row in rows], dtype=np.float64) for key in keys}


def distinct_keys(conn: sa.Connection, asked: sa.Subquery) -> list[str]:
    """Every key that one of the shots of a query has a value for, sorted."""
    names = sa.func.json_each(asked.c.characteristics).table_valued("key")
    query = sa.select(names.c.key).distinct().select_from(asked.join(names, sa.true()))
    return sorted(conn.execute(query).scalars())
