"""What the Service page shows: refusals, messages to people, the journal; for health see collector.health."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.csv_out import row_writer
from collector.settings import Settings
from collector.store import channels as channel_store
from collector.store import heartbeats
from collector.store.channels import ChannelState
from collector.store.tables import journal, refusals

COLUMNS = ("received_at", "source", "position", "topic", "reason", "detail", "remedy", "state", "raw")


@dataclass(frozen=True, slots=True)
class Source:
    """Where refused messages came from: how many wait, were read after all, are put aside; the newest."""

    name: str
    kept: int
    replayed: int
    put_aside: int
    newest_at: datetime


def sources(conn: sa.Connection) -> list[Source]:
    """Every source that something was refused of, the busiest first."""
    c = refusals.c
    kept, *later = (
        sa.func.sum(sa.case((c.state == state, 1), else_=0)).label(state)
        for state in ("kept", "replayed", "put_aside")
    )
    query = (
        sa.select(c.source.label("name"), kept, *later, sa.func.max(c.received_at).label("newest_at"))
        .group_by(c.source)
        .order_by(kept.desc(), c.source)
    )
    return [Source(**row) for row in conn.execute(query).mappings()]


def refused(conn: sa.Connection, *, source: str | None, kept_only: bool, last: int) -> Sequence[Any]:
    """The newest refusals, newest first, without their bytes."""
    c = refusals.c
    columns = (c.id, c.received_at, c.source, c.position, c.topic, c.reason, c.detail, c.remedy, c.state)
    query = sa.select(*columns)
    if source is not None:
        query = query.where(c.source == source)
    if kept_only:
        query = query.where(c.state == "kept")
    return conn.execute(query.order_by(c.id.desc()).limit(last)).all()


def raw(conn: sa.Connection, refusal_id: int) -> bytes:
    """The bytes of one refusal."""
    found: bytes | None = conn.execute(
        sa.select(refusals.c.raw).where(refusals.c.id == refusal_id)
    ).scalar()
    return found or b""


def refused_csv(conn: sa.Connection, *, source: str | None, kept_only: bool) -> bytes:
    """All refusals of a source as CSV in UTF-8, oldest first; no cell can be taken for a formula."""
    query = sa.select(*(refusals.c[name] for name in COLUMNS)).order_by(refusals.c.id)
    if source is not None:
        query = query.where(refusals.c.source == source)
    if kept_only:
        query = query.where(refusals.c.state == "kept")
    out = io.StringIO(newline="")
    write = row_writer(out)
    write(COLUMNS)
    for row in conn.execute(query):
        write([_cell(value) for value in row])
    return out.getvalue().encode()


def _cell(value: Any) -> Any:
    if isinstance(value, bytes | memoryview):
        return bytes(value).decode("utf-8", "replace")
    return value.isoformat() if isinstance(value, datetime) else value


@dataclass(frozen=True, slots=True)
class Channel:
    """A channel of the settings with how it fares, without its address."""

    name: str
    roles: tuple[str, ...]
    priorities: tuple[str, ...]
    shifts: tuple[str, ...]
    tell: tuple[str, ...]
    state: ChannelState


def channels(conn: sa.Connection, settings: Settings) -> list[Channel]:
    """The channels to people in the order of the settings."""
    states = channel_store.states(conn)
    return [
        Channel(
            one.name, one.roles, one.priorities, one.shifts, one.tell,
            states.get(one.name, ChannelState(name=one.name)),
        )
        for one in settings.channels
    ]  # fmt: skip


def messages(conn: sa.Connection, names: Sequence[str], *, last: int) -> list[tuple[Any, str]]:
    """The newest messages to these channels, newest first, each with its title."""
    rows = channel_store.recent(conn, names=names, last=last)
    return [(row, str(json.loads(row.payload).get("title", ""))) for row in rows]


def journal_entries(conn: sa.Connection, *, containing: str, last: int) -> Sequence[Any]:
    """The newest entries, newest first, in which who, what, subject or reason hold some words."""
    c = journal.c
    query = sa.select(c.id, c.at, c.who, c.action, c.subject, c.before, c.after, c.why)
    if containing:
        words = (c.who, c.action, c.subject, c.why)
        query = query.where(sa.or_(*(each.icontains(containing, autoescape=True) for each in words)))
    return conn.execute(query.order_by(c.id.desc()).limit(last)).all()


def collector_speaks(conn: sa.Connection, wall: datetime, within_s: float) -> bool:
    """Whether a collector gave a sign of life lately: only it hands messages over."""
    beat = heartbeats.last(conn, heartbeats.COLLECTOR)
    return beat is not None and (wall - beat.wall_at).total_seconds() <= within_s
