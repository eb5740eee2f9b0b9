"""What is told to people once and for all: the summary of a shift, that discs are due."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.store import channels, outbox
from collector.store.tables import reports
from collector.store.upsert import insert_into

SHIFT_SUMMARY, GAUGING_DUE = "shift_summary", "gauging_due"


def told(conn: sa.Connection, site: str, kind: str, subject: str) -> bool:
    """Whether a site was told of it already."""
    query = sa.select(reports.c.id).where(*_of(site, kind), reports.c.subject == subject)
    return conn.execute(query).first() is not None


def last_until(conn: sa.Connection, site: str, kind: str) -> datetime | None:
    """Until when the newest report of a kind goes at a site (floor time)."""
    found: datetime | None = conn.execute(
        sa.select(sa.func.max(reports.c.until_at)).where(*_of(site, kind))
    ).scalar()
    return found


def tell(
    conn: sa.Connection,
    site: str,
    kind: str,
    subject: str,
    *,
    text: str,
    payload: str,
    to: Collection[str],
    from_at: datetime,
    until_at: datetime,
    wall: datetime,
) -> bool:
    """Keep a report and put it in the outbox for the channels that are on; False when it was told before."""
    row: dict[str, Any] = {
        "site": site, "kind": kind, "subject": subject, "from_at": from_at, "until_at": until_at,
        "text": text,
    }  # fmt: skip
    new = insert_into(conn, reports).values(row).on_conflict_do_nothing().returning(reports.c.id)
    if conn.execute(new).one_or_none() is None:
        return False
    off = channels.disabled(conn)
    for name in to:
        if name not in off:
            outbox.add(
                conn, channel=name, topic=kind.replace("_", " "), payload=payload, retain=False, wall=wall,
                once=True,
            )  # fmt: skip
    return True


def newest(conn: sa.Connection, site: str, kind: str, *, last: int) -> list[Any]:
    """The newest reports of a kind at a site, newest first: subject, from_at, until_at, text."""
    c = reports.c
    query = sa.select(c.subject, c.from_at, c.until_at, c.text).where(*_of(site, kind))
    return list(conn.execute(query.order_by(c.until_at.desc(), c.id.desc()).limit(last)))


def _of(site: str, kind: str) -> tuple[sa.ColumnElement[bool], ...]:
    """Conditions; told before reports named their site, it counts at each: nothing is told twice."""
    return reports.c.kind == kind, sa.func.coalesce(reports.c.site, site) == site
