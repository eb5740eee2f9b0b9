"""New shots into the database, many at once, each with its digest.

They are taken column by column. SQLite gets the columns as it holds them, straight through its driver: a
fifth of the time of the general way (measured).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from math import isfinite
from types import MappingProxyType
from typing import Any, Literal, NamedTuple

import sqlalchemy as sa

from collector.store import digest
from collector.store.database import to_json
from collector.store.number_texts import written, written_as_sent
from collector.store.tables import presses, shots
from collector.store.types import to_micros

Phase = Literal["startup", "baseline", "charted", "trial"]
Original = tuple[float, str]
Columns = dict[str, Sequence[Any]]

_NAMES = [column.name for column in shots.columns if not column.primary_key]
_INSERT = f"INSERT INTO shots ({', '.join(_NAMES)}) VALUES ({', '.join('?' * len(_NAMES))})"  # noqa: S608 - our own names
_LAST = sa.select(sa.func.max(shots.c.id))


class NewShot(NamedTuple):
    """A shot with its place and its verdict, ready to be stored; a tuple, because they come by the hundred.

    Attributes
    ----------
    press_id, epoch, counter
        Identity: the press, the stretch in which its counter only rises, and the counter (None: has none).
    ended_at, received_at : datetime
        Aware; the press's time and ours.
    run_id, tray, tray_position
        Where it belongs, None where not known; position from 1.
    phase : {'startup', 'baseline', 'charted'}
        What the charts did with it.
    share, share_key, signaled
        Largest chart statistic as a share of its limit, whose it is, and whether anything signaled.
    time_reconstructed : bool
        `ended_at` was computed, not read.
    source : str
        Where it came from.
    values, setpoints : mapping of str to float
        Canonical units; a value that is missing is left out.
    originals, setpoint_originals : mapping of str to (float, str)
        Value and unit as sent, where they differ or the unit is not known from the key.
    not_written : tuple of str
        Keys the source names but has no value for.
    """

    press_id: int
    epoch: int
    counter: int | None
    ended_at: datetime
    received_at: datetime
    phase: Phase
    source: str
    values: Mapping[str, float]
    run_id: int | None = None
    tray: str | None = None
    tray_position: int | None = None
    share: float | None = None
    share_key: str | None = None
    signaled: bool = False
    time_reconstructed: bool = False
    setpoints: Mapping[str, float] = MappingProxyType({})
    originals: Mapping[str, Original] = MappingProxyType({})
    setpoint_originals: Mapping[str, Original] = MappingProxyType({})
    not_written: tuple[str, ...] = ()


def insert(
    conn: sa.Connection, new: Sequence[NewShot], *, names: Mapping[int, tuple[str, str]] | None = None
) -> list[int]:
    """Store shots in the order given, each with its digest.

    Parameters
    ----------
    conn : Connection
        A writing transaction.
    new : sequence of NewShot
    names : mapping of int to (str, str), optional
        Site and name of each press by its id, where the caller knows them.

    Returns
    -------
    list of int
        Their ids, rising, in the same order.

    Raises
    ------
    sqlalchemy.exc.IntegrityError
        A shot of the same press, epoch and counter is stored already.
    ValueError
        A value is not a finite number.
    """
    if not new:
        return []
    columns = _columns(new)
    names = names or _press_names(conn, set(columns["press_id"]))
    sites, press_names = zip(*[names[press_id] for press_id in columns["press_id"]], strict=True)
    as_text, canonical = _texts(columns)
    columns["digest"] = digest.of_columns({**columns, **canonical, "site": sites, "name": press_names})
    if conn.dialect.name == "sqlite":
        return _by_driver(conn, columns | as_text)
    for name in (*digest.OF_NUMBERS, *digest.AS_SENT):
        columns[name] = list(map(dict, columns[name]))  # which no other kind of mapping may be as JSON
    rows = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    statement = sa.insert(shots).returning(shots.c.id, sort_by_parameter_order=True)
    return list(conn.execute(statement, rows).scalars())


def _columns(new: Sequence[NewShot]) -> Columns:
    """The columns of the table but the digest, under their names; times in microseconds."""
    columns: Columns = dict(zip(NewShot._fields, zip(*new, strict=True), strict=True))
    columns["characteristics"] = columns.pop("values")
    for name in digest.TIMES:
        columns[name] = list(map(to_micros, columns[name]))
    # A share that is not a number means: no chart had an opinion.
    columns["share"] = [each if each is not None and isfinite(each) else None for each in columns["share"]]
    return columns


def _texts(columns: Columns) -> tuple[Columns, Columns]:
    """What is stored as JSON, and those of its columns that the digest needs in canonical form."""
    stored: Columns = {"not_written": [to_json(each) if each else "[]" for each in columns["not_written"]]}
    canonical: Columns = {}
    for name in digest.OF_NUMBERS:
        stored[name], canonical[name] = written(columns[name])
    for name in digest.AS_SENT:
        stored[name], canonical[name] = written_as_sent(columns[name])
    return stored, canonical


def _by_driver(conn: sa.Connection, columns: Columns) -> list[int]:
    """SQLite numbers rows upward from the largest one, and nobody else writes during this transaction."""
    rows = list(zip(*[columns[name] for name in _NAMES], strict=True))
    conn.exec_driver_sql(_INSERT, rows)
    last: int = conn.execute(_LAST).scalar_one()
    return list(range(last - len(rows) + 1, last + 1))


def _press_names(conn: sa.Connection, ids: set[int]) -> dict[int, tuple[str, str]]:
    query = sa.select(presses.c.id, presses.c.site, presses.c.name).where(presses.c.id.in_(ids))
    found = {row.id: (row.site, row.name) for row in conn.execute(query)}
    if missing := ids - found.keys():
        raise ValueError(f"no press has the id {min(missing)}; store the press before its shots")
    return found
