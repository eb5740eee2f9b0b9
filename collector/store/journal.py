"""The journal: what people and the service changed, and why. Rows are added, never changed.

Each entry carries the digest of the one before it, so a changed, removed or inserted entry breaks the chain
behind it. What the chain alone cannot show is that entries were cut off its end, or that all of it was
rewritten: for that, :func:`head` is printed or published outside from time to time.

The digest is the SHA-256 (FIPS 180-4) of the UTF-8 bytes of one JSON object in the canonical form of
RFC 8785, with the members form (the number 1), at and wall_at (microseconds since 1970 UTC), who, action,
subject, before, after, why, and previous (the previous digest in hexadecimal; 64 zeros for the first entry).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

import sqlalchemy as sa

from collector.store import permit
from collector.store.canonical import Json, canonical_json
from collector.store.tables import journal
from collector.store.types import to_micros

FORM = 1
BEGINNING = bytes(32)
_WORDS = ("who", "action", "subject", "before", "after", "why")


@dataclass(frozen=True, slots=True)
class Break:
    """A place where the journal is not what it was when it was written.

    Attributes
    ----------
    entry_id : int
        The entry at which it shows.
    sentence : str
        What does not fit.
    """

    entry_id: int
    sentence: str


def append(
    conn: sa.Connection,
    *,
    at: datetime,
    wall_at: datetime,
    who: str,
    action: str,
    subject: str,
    before: Json = None,
    after: Json = None,
    why: str | None = None,
) -> bytes:
    """Add an entry, in the transaction of the change it tells of.

    Parameters
    ----------
    conn : Connection
        From :func:`collector.store.database.write`.
    at, wall_at : datetime
        Floor time and real time, both aware.
    who : str
        A person who may do this (:mod:`collector.store.permit` looks), or "service".
    action, subject : str
        What was done, to what ("alarm 12").
    before, after : JSON value
        What was changed, where that can be said.
    why : str or None
        The reason given.

    Returns
    -------
    bytes
        The entry's digest, 32 bytes.

    Raises
    ------
    NotAllowed
        `who` may not do this; the transaction must be rolled back, and with it the change.
    TypeError, ValueError
        `before` or `after` is no JSON value.
    """
    permit.check(conn, who, action, wall=wall_at)
    _alone(conn)
    entry = {
        "at": at,
        "wall_at": wall_at,
        "who": str(who),
        "action": action,
        "subject": subject,
        "before": before,
        "after": after,
        "why": why,
    }
    previous = head(conn)
    digest = _digest(entry, previous)
    conn.execute(sa.insert(journal).values(**entry, previous_digest=previous, digest=digest))
    return digest


def head(conn: sa.Connection) -> bytes:
    """Digest of the newest entry; 32 zero bytes when there is none."""
    newest = sa.select(journal.c.digest).order_by(journal.c.id.desc()).limit(1)
    return conn.execute(newest).scalar() or BEGINNING


def has(conn: sa.Connection, digest: bytes) -> bool:
    """Whether an entry has this digest, which was the head once; true of :data:`BEGINNING` always."""
    entry = sa.select(journal.c.id).where(journal.c.digest == digest)
    return digest == BEGINNING or conn.execute(entry).first() is not None


def verify(conn: sa.Connection) -> list[Break]:
    """Recompute the whole chain; an empty list says that it holds."""
    breaks = []
    previous = BEGINNING
    for row in conn.execute(sa.select(journal).order_by(journal.c.id)).mappings():
        if row["previous_digest"] != previous:
            breaks.append(Break(row["id"], f"entry {row['id']} does not follow the entry before it"))
        if _digest(dict(row), row["previous_digest"]) != row["digest"]:
            breaks.append(Break(row["id"], f"entry {row['id']} was changed after it was written"))
        previous = row["digest"]
    return breaks


def _alone(conn: sa.Connection) -> None:
    # Two entries must not follow the same one. SQLite has one writer at a time anyway; readers may go on.
    if conn.dialect.name == "postgresql":
        conn.exec_driver_sql("LOCK TABLE journal IN EXCLUSIVE MODE")


def _digest(entry: Mapping[str, Any], previous: bytes) -> bytes:
    members = {name: entry[name] for name in _WORDS} | {
        "form": FORM,
        "at": to_micros(entry["at"]),
        "wall_at": to_micros(entry["wall_at"]),
        "previous": previous.hex(),
    }
    return sha256(canonical_json(members).encode()).digest()
