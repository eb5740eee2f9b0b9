"""What of the past a store deletes, and why; nothing else of it is.

Kept for ever is what a person may be asked about later: shots, signals, alarms, holds, gaugings, the journal,
refusals, imports, and every message to people: whom it was meant for, and when. What is deleted tells of
deliveries and guesses that nobody will ask about, and grows with every step of every alarm and with whoever
tries passwords: messages to machines that arrived or were replaced, attempts to sign in that no lock-out
counts any more, and sign-ins that are over; what somebody did while signed in stands in the journal.
"""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa

from collector.store.outbox import SENT, SUPERSEDED
from collector.store.tables import accounts, outbox, sign_in_attempts, sign_ins

AT_ONCE = 1_000  # rows in one transaction, for which shots wait


def messages(conn: sa.Connection, *, before: datetime) -> int:
    """Delete old messages to machines that arrived or were replaced.

    Parameters
    ----------
    conn : Connection
        A writing transaction.
    before : datetime
        Wall time.

    Returns
    -------
    int
        How many; fewer than `AT_ONCE` when none is left.
    """
    c = outbox.c
    to_machines = c.once.is_(False)
    return _delete(conn, outbox, c.state.in_((SENT, SUPERSEDED)), c.created_at < before, to_machines)


def attempts(conn: sa.Connection, *, before: datetime) -> int:
    """Delete old attempts to sign in, but none of the wrong PINs that keep a PIN switched off.

    Parameters and result are those of :func:`messages`.
    """
    c, later = sign_in_attempts.c, sign_in_attempts.alias()
    right_since = sa.exists().where(
        later.c.name_key == c.name_key, later.c.id > c.id, later.c.worked.is_(True),
        later.c.kind.in_(("password", "pin")),
    )  # fmt: skip
    somebodys = sa.exists().where(accounts.c.name_key == c.name_key)
    counts = sa.and_(c.kind == "pin", c.worked.is_(False), somebodys, ~right_since)
    return _delete(conn, sign_in_attempts, c.at < before, ~counts)


def sign_ins_over(conn: sa.Connection, *, before: datetime) -> int:
    """Delete sign-ins that were over by then, but the newest of each account: People says when it was.

    Parameters and result are those of :func:`messages`.
    """
    c, later = sign_ins.c, sign_ins.alias()
    newer = sa.exists().where(later.c.account_id == c.account_id, later.c.id > c.id)
    return _delete(conn, sign_ins, c.expires_at < before, sa.or_(c.account_id.is_(None), newer))


def _delete(conn: sa.Connection, table: sa.Table, *where: sa.ColumnElement[bool]) -> int:
    oldest = sa.select(table.c.id).where(*where).order_by(table.c.id).limit(AT_ONCE)
    return conn.execute(sa.delete(table).where(table.c.id.in_(oldest))).rowcount
