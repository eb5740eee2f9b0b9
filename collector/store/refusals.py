"""What could not be read, kept with its bytes until it is read after all or a person puts it aside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from hashlib import sha256
from typing import Any

import sqlalchemy as sa

from collector.contract.refusal import Refusal
from collector.store.tables import refusals
from collector.store.upsert import insert_into

# A runaway sender must not fill the disk with what nobody can use.
KEPT_BYTES = 1_048_576


def keep(conn: sa.Connection, refusal: Refusal) -> bool:
    """Keep a refused message or row; the same bytes from the same place are kept once.

    What had been read and is refused again waits again; what a person put aside stays there.

    Parameters
    ----------
    conn : Connection
        From :func:`collector.store.database.write`.
    refusal : Refusal
        Its raw bytes are kept up to `KEPT_BYTES`; the detail then says how many there were.

    Returns
    -------
    bool
        False when it waited already, or is put aside.
    """
    row = {
        "received_at": refusal.received_at,
        "source": _storable(refusal.source),
        "position": _storable(refusal.position),
        "topic": None if refusal.topic is None else _storable(refusal.topic),
        "reason": refusal.reason,
        "detail": _storable(refusal.detail) + _cut_note(refusal.raw),
        "remedy": _storable(refusal.remedy),
        "raw": refusal.raw[:KEPT_BYTES],
        "raw_digest": sha256(refusal.raw).digest(),
        "state": "kept",
    }
    again = (
        insert_into(conn, refusals)
        .values(row)
        .on_conflict_do_update(
            index_elements=[refusals.c.source, refusals.c.position, refusals.c.raw_digest],
            set_={"state": "kept", "replayed_at": None},
            where=refusals.c.state == "replayed",
        )
    )
    return conn.execute(again.returning(refusals.c.id)).one_or_none() is not None


def kept(
    conn: sa.Connection, *, source: str | None = None, state: str | None = "kept", last: int | None = None
) -> Sequence[sa.Row[*tuple[Any, ...]]]:
    """Rows of the table, in the order in which they were refused.

    Parameters
    ----------
    conn : Connection
        From :func:`collector.store.database.read` or ``write``.
    source : str or None
        Only those from here.
    state : {'kept', 'replayed', 'put_aside'} or None
        Only those in this state; None gives both.
    last : int or None
        Only the newest so many.
    """
    query = sa.select(refusals)
    if source is not None:
        query = query.where(refusals.c.source == source)
    if state is not None:
        query = query.where(refusals.c.state == state)
    if last is None:
        return conn.execute(query.order_by(refusals.c.id)).all()
    return conn.execute(query.order_by(refusals.c.id.desc()).limit(last)).all()[::-1]


def each(
    conn: sa.Connection, *, source: str | None = None, state: str | None = None
) -> Iterator[sa.Row[Any]]:
    """Rows of the table one after another, oldest first, however many there are."""
    query = sa.select(refusals).order_by(refusals.c.id)
    if source is not None:
        query = query.where(refusals.c.source == source)
    if state is not None:
        query = query.where(refusals.c.state == state)
    yield from conn.execute(query.execution_options(yield_per=200))


def mark_replayed(conn: sa.Connection, refusal_id: int, *, at: datetime) -> bool:
    """Note that a refusal was read after all; False when it had been, or is not there."""
    statement = (
        sa.update(refusals)
        .where(refusals.c.id == refusal_id, refusals.c.state == "kept")
        .values(state="replayed", replayed_at=at)
    )
    return conn.execute(statement).rowcount == 1


def waiting_of_file(conn: sa.Connection, name: str) -> list[tuple[int, str]]:
    """Number and position of each refused row of files of a name that waits."""
    c = refusals.c
    rows = conn.execute(
        sa.select(c.id, c.position).where(c.source == name, c.topic.is_(None), c.state == "kept")
    )
    return [(row.id, row.position) for row in rows]


def raw_bytes(conn: sa.Connection, numbers: Sequence[int]) -> dict[int, bytes]:
    """The bytes of some refusals by their numbers."""
    rows = conn.execute(sa.select(refusals.c.id, refusals.c.raw).where(refusals.c.id.in_(numbers)))
    return {row.id: bytes(row.raw) for row in rows}


def mark_all_replayed(conn: sa.Connection, numbers: Sequence[int], *, at: datetime) -> None:
    """Note that refused rows were read after all."""
    conn.execute(
        sa.update(refusals).where(refusals.c.id.in_(numbers)).values(state="replayed", replayed_at=at)
    )


def put_aside(conn: sa.Connection, *, numbers: Sequence[int] | None, source: str | None) -> list[int]:
    """Have refusals wait no more, though nobody could read them; None is any number, any source.

    Returns
    -------
    list of int
        Their numbers: those that waited.
    """
    c = refusals.c
    meant = [c.state == "kept"]
    meant += [] if numbers is None else [c.id.in_(numbers)]
    meant += [] if source is None else [c.source == source]
    moved = sa.update(refusals).where(*meant).values(state="put_aside").returning(c.id)
    return sorted(conn.execute(moved).scalars())


def _cut_note(raw: bytes) -> str:
    return f" (only the first {KEPT_BYTES} of {len(raw)} bytes are kept)" if len(raw) > KEPT_BYTES else ""


def _storable(text: str) -> str:
    # A refused message may hold what no text column takes: half a surrogate pair, or a zero character.
    return text.encode("utf-8", "replace").decode().replace("\0", "\N{REPLACEMENT CHARACTER}")
