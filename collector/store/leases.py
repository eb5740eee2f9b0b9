"""Leases of parts of the presses: who has which, until when, and the fence that stops a former holder.

One clock decides: the database's own where it has one, so that collectors on machines whose clocks differ
agree. A fence is a number that grows at every change of hands. A transaction that rests on a lease begins
with :func:`check`; on PostgreSQL its row lock makes a change of hands wait for the transaction, while a
renewal does not. So a holder that was paused cannot commit anything once another has its lease.

References
----------
PostgreSQL 15 manual, 13.3.2 "Row-Level Locks": FOR KEY SHARE lets an update pass that changes no key.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.clock import wall_now
from collector.errors import LeaseLost
from collector.store.tables import collectors, leases
from collector.store.upsert import insert_into

LOCK_WAIT_MS = 1_000  # shorter than any lease lasts, since what else is held must be renewed meanwhile
LONGEST = timedelta(minutes=2)  # twice the longest that a lease may last by the settings

_FENCE = (
    sa.select(leases.c.fence, leases.c.holder)
    .where(leases.c.site == sa.bindparam("site"), leases.c.name == sa.bindparam("name"))
    .with_for_update(read=True, key_share=True)  # SQLite has one writer at a time and no row locks
)


@dataclass(frozen=True, slots=True)
class Lease:
    """A part of the presses as it stands in the store; `holder` None is free."""

    site: str
    name: str
    part: int
    parts: int
    holder: str | None
    until: datetime
    fence: int
    ready_at: datetime | None

    def free(self, wall: datetime) -> bool:
        """Whether anybody may take it; one far longer than any lease is from before a clock was set back."""
        return self.holder is None or self.until < wall or self.until > wall + LONGEST


def url_under(url: str, name: str) -> str:
    """A database URL whose connections PostgreSQL lists under a name; any other URL as it is."""
    try:
        parsed = sa.make_url(url)
    except sa.exc.ArgumentError:
        return url  # whoever opens it says what is wrong with it
    if parsed.get_backend_name() != "postgresql":
        return url
    named = parsed.update_query_dict({"application_name": name})
    return named.render_as_string(hide_password=False)


def clock(conn: sa.Connection) -> datetime:
    """The time that leases are judged by: the database's, or with SQLite this machine's."""
    if conn.dialect.name != "postgresql":
        return wall_now()
    now: datetime = conn.execute(sa.select(sa.func.clock_timestamp())).scalar_one()
    return now


def add_missing(conn: sa.Connection, site: str, names: Iterable[tuple[str, int]], *, wall: datetime) -> None:
    """Make the rows of a division into parts; those that are there stay as they are.

    Parameters
    ----------
    conn : Connection
    site : str
    names : iterable of (str, int)
        Name and number of each part, from 1.
    wall : datetime
    """
    named = list(names)
    for name, part in named:
        row = {"site": site, "name": name, "part": part, "parts": len(named), "until": wall, "fence": 0}
        conn.execute(insert_into(conn, leases).values(row).on_conflict_do_nothing())


def of_site(conn: sa.Connection, site: str) -> list[Lease]:
    """Every lease of a site, in the order of their names."""
    c = leases.c
    query = sa.select(leases).where(c.site == site).order_by(c.parts, c.part, c.name)
    return [Lease(**row) for row in conn.execute(query).mappings()]


def take(conn: sa.Connection, lease: Lease, *, holder: str, wall: datetime, lasts: timedelta) -> Lease | None:
    """Take a lease as it was seen; None when another was quicker or its holder has renewed it.

    The one who had it can commit nothing from now on.

    Raises
    ------
    StoreUnavailable
        A transaction that rests on the lease does not end, though :func:`end_sessions` should have ended it.
    """
    if conn.dialect.name == "postgresql":
        conn.execute(sa.text(f"SET LOCAL lock_timeout = '{LOCK_WAIT_MS}ms'"))
    done = conn.execute(
        _named(lease)
        .where(leases.c.fence == lease.fence, leases.c.until == lease.until)
        .values(holder=holder, until=wall + lasts, fence=lease.fence + 1)
    )
    if done.rowcount != 1:
        return None
    return Lease(
        lease.site, lease.name, lease.part, lease.parts, holder, wall + lasts, lease.fence + 1, lease.ready_at
    )


def renew(conn: sa.Connection, held: Sequence[Lease], *, wall: datetime, lasts: timedelta) -> list[Lease]:
    """Hold on to leases; gives those that are still ours.

    One that ran out but that nobody took is renewed like any other.
    """
    return [each for each in held if _renewed(conn, each, wall + lasts)]


def _renewed(conn: sa.Connection, lease: Lease, until: datetime) -> bool:
    done = conn.execute(_ours(lease).values(until=until))
    return done.rowcount == 1


def give_up(conn: sa.Connection, lease: Lease) -> None:
    """Let go of a lease whose session is closed, so that another need not wait for its end."""
    conn.execute(_ours(lease).values(holder=None))


def note_ready(conn: sa.Connection, lease: Lease, *, wall: datetime) -> None:
    """Note that the session of a lease has its subscriptions: from now on the broker keeps its messages."""
    conn.execute(_ours(lease).where(leases.c.ready_at.is_(None)).values(ready_at=wall))


def remove(conn: sa.Connection, lease: Lease) -> None:
    """Remove a lease of a former division, whose session is empty and ended."""
    conn.execute(
        sa.delete(leases).where(
            leases.c.site == lease.site, leases.c.name == lease.name, leases.c.fence == lease.fence
        )
    )


def check(conn: sa.Connection, lease: Lease) -> None:
    """Begin a transaction that rests on a lease: nobody can take the lease before it ends.

    Raises
    ------
    LeaseLost
        Another collector has it.
    """
    found = conn.execute(_FENCE, {"site": lease.site, "name": lease.name}).one_or_none()
    # The holder as well: a store that was restored from a backup counts from an older fence.
    if found is None or (found.fence, found.holder) != (lease.fence, lease.holder):
        raise LeaseLost(
            f"the lease {lease.name} went to another collector while this one stood still; "
            "nothing of this batch was stored here, the broker sends it to the other"
        )


def present(conn: sa.Connection, site: str, name: str, *, until: datetime) -> None:
    """Say that a collector is there until a time, whether or not it has anything."""
    statement = insert_into(conn, collectors).values(site=site, name=name, until=until)
    conn.execute(
        statement.on_conflict_do_update(index_elements=["site", "name"], set_={"until": until})
    )


def count_present(conn: sa.Connection, site: str, *, wall: datetime) -> int:
    """How many collectors are there; the rows of those that are gone are removed."""
    gone = sa.or_(collectors.c.until < wall, collectors.c.until > wall + LONGEST)
    conn.execute(sa.delete(collectors).where(collectors.c.site == site, gone))
    query = sa.select(sa.func.count()).select_from(collectors).where(collectors.c.site == site)
    return int(conn.execute(query).scalar_one())


def names_present(conn: sa.Connection, site: str, *, wall: datetime) -> set[str]:
    """The collectors that are there; changes nothing."""
    query = sa.select(collectors.c.name).where(
        collectors.c.site == site, collectors.c.until.between(wall, wall + LONGEST)
    )
    return set(conn.execute(query).scalars())


def leave(conn: sa.Connection, site: str, name: str) -> None:
    """Say that a collector is gone."""
    conn.execute(sa.delete(collectors).where(collectors.c.site == site, collectors.c.name == name))


def end_sessions(conn: sa.Connection, holder: str) -> None:
    """End what a holder whose lease has run out still has open in the database.

    A collector that stands still in the middle of a transaction, or whose machine lost its power, would
    keep its row locks, and whoever takes over would wait for it. Its transaction is rolled back.
    """
    if conn.dialect.name != "postgresql":
        return
    c = sa.table("pg_stat_activity", sa.column("pid"), sa.column("application_name"), sa.column("usename"))
    conn.execute(
        sa.select(sa.func.pg_terminate_backend(c.c.pid)).where(
            c.c.application_name == holder, c.c.usename == sa.func.current_user()
        )
    )


def _named(lease: Lease) -> sa.Update:
    return sa.update(leases).where(leases.c.site == lease.site, leases.c.name == lease.name)


def _ours(lease: Lease) -> sa.Update:
    return _named(lease).where(leases.c.holder == lease.holder, leases.c.fence == lease.fence)
