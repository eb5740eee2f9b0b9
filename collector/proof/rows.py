"""A digest for each row that a seal covers, and what may change in it without breaking one.

Shots have theirs in their row (:mod:`collector.store.digest`). Those of gaugings and alarms are computed when
they are needed and kept in the journal alone, where nobody can mend them after a change: the SHA-256
(FIPS 180-4) of one JSON object in the canonical form of RFC 8785 with the columns listed here, times as
microseconds since 1970 UTC and bytes in hexadecimal. Left out is what rightly changes later: to which disc a
gauging was joined, that it was withdrawn, and where a closed alarm stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from hashlib import sha256
from typing import Any

import sqlalchemy as sa

from collector.store import digest
from collector.store.archives import values_moved
from collector.store.canonical import Json, canonical_json
from collector.store.tables import alarms, amendments, gaugings, presses, shots
from collector.store.types import to_micros
from collector.store.withdrawn import own_press

AT_ONCE = 2_000
GAUGING = (
    "id", "characteristic", "value", "unit", "original_value", "original_unit", "gauged_at", "received_at",
    "site", "gauge", "temperature_degc", "definition", "who", "source", "identity",
)  # fmt: skip
ALARM = (
    "id", "press_id", "kind", "opened_at", "first_shot_id", "headline", "acknowledged_by", "acknowledged_at",
    "closed_by", "closed_at", "cause", "note",
)  # fmt: skip
OPENED = ("id", "press_id", "site", "kind", "opened_at")


def of_row(row: Mapping[Any, Any]) -> bytes:
    """Digest of the columns of a gauging or an alarm."""
    return sha256(canonical_json({str(name): _plain(value) for name, value in row.items()}).encode()).digest()


def shots_between(conn: sa.Connection, after_id: int, to_id: int) -> Iterator[tuple[int, bytes]]:
    """Id and stored digest of each shot, in the order of the ids."""
    query = sa.select(shots.c.id, shots.c.digest).where(shots.c.id > after_id, shots.c.id <= to_id)
    for row in _in_parts(conn, query.order_by(shots.c.id)):
        yield row.id, row.digest


def gaugings_between(conn: sa.Connection, after_id: int, to_id: int) -> Iterator[tuple[int, bytes]]:
    """Id and digest of each gauging, in the order of the ids."""
    query = sa.select(*(gaugings.c[name] for name in GAUGING))
    query = query.where(gaugings.c.id > after_id, gaugings.c.id <= to_id).order_by(gaugings.c.id)
    for row in _in_parts(conn, query):
        yield row.id, of_row(row._mapping)


def alarms_of(conn: sa.Connection, ids: list[int]) -> Iterator[tuple[int, bytes]]:
    """Id and digest of each of these alarms, in the order of the ids."""
    query = sa.select(*(alarms.c[name] for name in ALARM)).where(alarms.c.id.in_(ids)).order_by(alarms.c.id)
    for row in conn.execute(query):
        yield row.id, of_row(row._mapping)


def opened_after(conn: sa.Connection, alarm_id: int) -> Iterator[tuple[int, bytes]]:
    """Id of each alarm above this one, and the digest of what stays the same from its opening on."""
    query = sa.select(*(alarms.c[name] for name in OPENED)).where(alarms.c.id > alarm_id)
    for row in _in_parts(conn, query.order_by(alarms.c.id)):
        yield row.id, of_row(row._mapping)


def changed_shots(conn: sa.Connection) -> Iterator[tuple[int, str | None]]:
    """Each shot with what is wrong with it: its values no longer fit its digest.

    Shots whose values are in an archive file are passed over; bringing them back checks them.
    """
    query = sa.select(shots, presses.c.site, presses.c.name).select_from(shots)
    query = query.join(presses, presses.c.id == own_press()).where(~values_moved())
    for row in _in_parts(conn, query.order_by(shots.c.id)):
        members = row._mapping
        yield row.id, None if _fits(members) else _which(members)


def before_amendments(conn: sa.Connection, shot_ids: Mapping[int, int]) -> dict[int, bytes]:
    """Digests that shots had before they were amended.

    Parameters
    ----------
    conn : Connection
    shot_ids : mapping of int to int
        Shot to the number of its first amendment that counts.
    """
    found = {}
    columns = [column for column in shots.c if column.name not in ("id", "digest")]
    for shot_id, amendment_id in shot_ids.items():
        query = sa.select(*columns, presses.c.site, presses.c.name).select_from(shots)
        query = query.join(presses, presses.c.id == own_press()).where(shots.c.id == shot_id)
        row = conn.execute(query).mappings().one()
        kept = conn.execute(
            sa.select(amendments.c.before).where(amendments.c.id == amendment_id)
        ).scalar_one()
        found[shot_id] = digest.of_row({**{str(name): value for name, value in row.items()}, **kept})
    return found


def first_amendments(conn: sa.Connection, after_id: int) -> dict[int, int]:
    """Shots amended since amendment `after_id`, each with the number of the first of them."""
    query = sa.select(amendments.c.shot_id, sa.func.min(amendments.c.id).label("first"))
    rows = conn.execute(query.where(amendments.c.id > after_id).group_by(amendments.c.shot_id))
    return {row.shot_id: row.first for row in rows}


def _fits(row: Mapping[Any, Any]) -> bool:
    try:
        return bool(digest.of_row(row) == row["digest"])
    except (ValueError, TypeError, KeyError, AttributeError):
        return False  # not even of the form that was written


def _which(row: Mapping[Any, Any]) -> str:
    counter = "without a counter" if row["counter"] is None else str(row["counter"])
    return f"shot {counter} of {row['name']} (row {row['id']}) was changed after it was stored"


def _in_parts(conn: sa.Connection, query: sa.Select[Any]) -> Iterator[sa.Row[Any]]:
    """Rows with few of them in memory at a time."""
    yield from conn.execute(query.execution_options(yield_per=AT_ONCE))


def _plain(value: Any) -> Json:
    if isinstance(value, datetime):
        return to_micros(value)
    if isinstance(value, bytes):
        return value.hex()
    plain: Json = value
    return plain
