"""How the channels to people fare: what arrived last, what went wrong, which are switched off and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.store import outbox
from collector.store.tables import channels
from collector.store.tables import outbox as outbox_table
from collector.store.upsert import insert_into


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelState:
    """One channel; times are wall times, `disabled_at` is None while it is used."""

    name: str
    last_sent_at: datetime | None = None
    last_error_at: datetime | None = None
    last_error: str | None = None
    disabled_at: datetime | None = None
    disabled_why: str | None = None


_COLUMNS = [channels.c[field.name] for field in fields(ChannelState)]


def states(conn: sa.Connection) -> dict[str, ChannelState]:
    """What is known of every channel that was ever used, by name."""
    rows = conn.execute(sa.select(*_COLUMNS).order_by(channels.c.name)).mappings()
    return {row["name"]: ChannelState(**row) for row in rows}


def disabled(conn: sa.Connection) -> set[str]:
    """Names of the channels that are switched off."""
    query = sa.select(channels.c.name).where(channels.c.disabled_at.is_not(None))
    return set(conn.execute(query).scalars())


def worked(conn: sa.Connection, name: str, *, wall: datetime) -> None:
    """Note that a message arrived."""
    _put(conn, name, {"last_sent_at": wall})


def failed(conn: sa.Connection, name: str, *, wall: datetime, error: str) -> None:
    """Note what went wrong."""
    _put(conn, name, {"last_error_at": wall, "last_error": error})


def disable(conn: sa.Connection, name: str, *, wall: datetime, why: str) -> bool:
    """Switch a channel off and end what waits for it; False when it was off already."""
    if name in disabled(conn):
        return False
    _put(conn, name, {"disabled_at": wall, "disabled_why": why})
    outbox.drop_waiting(conn, name, state=outbox.FAILED, why=f"the channel was switched off: {why}")
    return True


def enable(conn: sa.Connection, name: str) -> None:
    """Switch a channel on again."""
    _put(conn, name, {"disabled_at": None, "disabled_why": None})


def recent(conn: sa.Connection, *, names: Sequence[str] | None = None, last: int) -> Sequence[Any]:
    """The newest messages of the outbox, newest first: of the channels named, or of all."""
    c = outbox_table.c
    query = sa.select(
        c.id, c.created_at, c.channel, c.topic, c.payload, c.state, c.attempts, c.sent_at, c.last_error
    )
    if names is not None:
        query = query.where(c.channel.in_(names))
    return conn.execute(query.order_by(c.id.desc()).limit(last)).all()


def _put(conn: sa.Connection, name: str, values: dict[str, Any]) -> None:
    new = insert_into(conn, channels).values(name=name, **values)
    conn.execute(new.on_conflict_do_update(index_elements=["name"], set_=values))
