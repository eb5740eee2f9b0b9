"""The Parquet file of one run: every stored column of its shots as it was, and a column of numbers a key.

The columns of the store are kept to the letter, so that values can go back and every digest can be
recomputed. The columns of numbers (``value:cushion``) are for whoever reads the file with other programs.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import sqlalchemy as sa

from collector.store import digest, shot_values
from collector.store.tables import presses, runs, shots
from collector.store.types import from_micros

FORM = b"1"
AT_ONCE = 10_000
MOVED = ("characteristics", "setpoints", "originals", "setpoint_originals", "not_written")
_PLAIN = {
    "id": pa.int64(), "epoch": pa.int64(), "counter": pa.int64(), "ended_at": pa.int64(),
    "received_at": pa.int64(), "tray": pa.string(), "tray_position": pa.int64(), "phase": pa.string(),
    "share": pa.float64(), "share_key": pa.string(), "signaled": pa.bool_(),
    "time_reconstructed": pa.bool_(), "source": pa.string(), "digest": pa.binary(),
}  # fmt: skip


def write(conn: sa.Connection, path: Path, run_id: int, keys: Sequence[str]) -> list[int]:
    """Write the shots of a run.

    Parameters
    ----------
    conn : Connection
        A reading transaction.
    path : Path
        Written anew; complete on the disk when this returns.
    run_id : int
    keys : sequence of str
        Characteristics that get a column of numbers.

    Returns
    -------
    list of int
        Ids of the shots, rising.
    """
    names = conn.execute(
        sa.select(presses.c.site, presses.c.name.label("press"), runs.c.name.label("run"))
        .select_from(runs.join(presses))
        .where(runs.c.id == run_id)
    ).mappings().one()  # fmt: skip
    schema = _schema(keys).with_metadata({**names, b"form": FORM})
    ids: list[int] = []
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        for rows in _stored(conn, run_id):
            writer.write_table(_table(rows, keys, schema))
            ids += [row["id"] for row in rows]
    with path.open("rb") as file:
        os.fsync(file.fileno())
    return ids


def read(path: Path) -> Iterator[dict[str, Any]]:
    """Rows of a file, each as :func:`collector.store.digest.of_row` takes it, with its id and its texts.

    Yields
    ------
    dict
        `id`, `digest`, the plain columns, the moved columns as decoded JSON, and ``texts``: those as stored.
    """
    with pq.ParquetFile(path) as file:
        names = file.schema_arrow.metadata
        press = {"site": names[b"site"].decode(), "name": names[b"press"].decode()}
        for batch in file.iter_batches(batch_size=AT_ONCE, columns=[*_PLAIN, *MOVED]):
            for row in batch.to_pylist():
                yield _decoded(row) | press


def is_sound(row: dict[str, Any]) -> bool:
    """Whether the digest of a row is still that of its values."""
    stored: bytes = row["digest"]
    return digest.of_row(row) == stored


def _schema(keys: Sequence[str]) -> pa.Schema:
    moved = {name: pa.string() for name in MOVED}
    return pa.schema([*(_PLAIN | moved).items(), *((f"value:{key}", pa.float64()) for key in keys)])


def _stored(conn: sa.Connection, run_id: int) -> Iterator[list[dict[str, Any]]]:
    as_held = {"ended_at": sa.BigInteger, "received_at": sa.BigInteger}
    plain = [sa.type_coerce(shots.c[name], as_held[name]).label(name) if name in as_held else shots.c[name]
             for name in _PLAIN]  # fmt: skip
    moved = [sa.cast(shots.c[name], sa.Text).label(name) for name in MOVED]
    query = sa.select(*plain, *moved).where(shots.c.run_id == run_id).order_by(shots.c.id)
    result = conn.execute(query.execution_options(yield_per=AT_ONCE)).mappings()
    for part in result.partitions():
        yield [dict(row) for row in part]


def _table(rows: list[dict[str, Any]], keys: Sequence[str], schema: pa.Schema) -> pa.Table:
    held = {name: [row[name] for row in rows] for name in (*_PLAIN, *MOVED)}
    numbers = shot_values.columns(held["characteristics"], keys)
    columns = [*held.values(), *(numbers[key] for key in keys)]
    arrays = [pa.array(column, type=field.type) for column, field in zip(columns, schema, strict=True)]
    return pa.table(arrays, schema=schema)


def _decoded(row: dict[str, Any]) -> dict[str, Any]:
    texts = {name: row[name] for name in MOVED}
    decoded = {name: None if text is None else json.loads(text) for name, text in texts.items()}
    times = {name: from_micros(row[name]) for name in ("ended_at", "received_at")}
    return row | decoded | times | {"texts": texts}
