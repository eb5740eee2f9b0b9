"""Taking, renewing and giving up the leases of one collector."""

from __future__ import annotations

import os
import re
import secrets
import socket
import time
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.leases.plan import Plan, plan
from collector.store import database, leases
from collector.store.leases import Lease

__all__ = ["Keeper", "new_name"]

NAME_LENGTH = 63  # the longest that PostgreSQL keeps as the name of an application


class Keeper:
    """The leases of one collector, as the store had them when it was last asked.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        Opened under `me`, so that whoever takes over can end its transactions.
    site : str
    me : str
        Name of this collector.
    wanted : sequence of (str, int)
        Name and number of every part.
    lasts_s : float
        How long a lease lasts without being renewed, in seconds.
    clock : callable
        From a connection to the time that leases are judged by.
    monotonic : callable
        Seconds of this process, for :meth:`is_valid` alone.
    """

    def __init__(
        self,
        engine: sa.Engine,
        *,
        site: str,
        me: str,
        wanted: Sequence[tuple[str, int]],
        lasts_s: float,
        clock: Callable[[sa.Connection], datetime] = leases.clock,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.me = me
        self.held: dict[str, Lease] = {}
        self.rows: list[Lease] = []
        self._engine = engine
        self._site = site
        self._wanted = list(wanted)
        self.lasts_s = lasts_s
        self._lasts = timedelta(seconds=lasts_s)
        self._clock = clock
        self._monotonic = monotonic
        self._renewed_at = -lasts_s

    def look(self) -> Plan:
        """Renew what is held, and see what else there is.

        Returns
        -------
        Plan
            What to take and to give up. `held` has lost what another took meanwhile.

        Raises
        ------
        StoreUnavailable
            Nothing is known for now; what is held stays held until another takes it.
        """
        began = self._monotonic()
        with database.write(self._engine) as conn:
            wall = self._clock(conn)
            if not {name for name, _ in self._wanted} <= {each.name for each in self.rows}:
                leases.add_missing(conn, self._site, self._wanted, wall=wall)
            leases.present(conn, self._site, self.me, until=wall + self._lasts)
            still = leases.renew(conn, list(self.held.values()), wall=wall, lasts=self._lasts)
            present = leases.count_present(conn, self._site, wall=wall)
            rows = leases.of_site(conn, self._site)
        self.held = {each.name: each for each in still}
        self.rows = rows
        self._renewed_at = began
        return plan(rows, me=self.me, held=self.held, present=present, wall=wall)

    def take(self, lease: Lease) -> Lease | None:
        """Take a free lease; None when another was quicker.

        Raises
        ------
        StoreUnavailable
            It was not taken.
        """
        with database.write(self._engine) as conn:
            if lease.holder not in {None, self.me}:
                leases.end_sessions(conn, lease.holder)
            taken = leases.take(
                conn, lease, holder=self.me, wall=self._clock(conn), lasts=self._lasts
            )
        if taken is not None:
            self.held[taken.name] = taken
        return taken

    def note_ready(self, lease: Lease) -> None:
        """Note that the broker keeps the messages of a lease from now on."""
        with database.write(self._engine) as conn:
            leases.note_ready(conn, lease, wall=self._clock(conn))

    def give_up(self, lease: Lease) -> None:
        """Let go of a lease whose session is closed."""
        self.held.pop(lease.name, None)
        with database.write(self._engine) as conn:
            leases.give_up(conn, lease)

    def remove(self, lease: Lease) -> None:
        """Remove the lease of a part that is no more and whose session is ended."""
        self.held.pop(lease.name, None)
        with database.write(self._engine) as conn:
            leases.remove(conn, lease)

    def leave(self) -> None:
        """Let go of everything; called once every session is closed."""
        with database.write(self._engine) as conn:
            for lease in self.held.values():
                leases.give_up(conn, lease)
            leases.leave(conn, self._site, self.me)
        self.held = {}

    def is_valid(self) -> bool:
        """Whether what is held cannot have run out, by this process's own count of seconds.

        Only saves a reconnect that would throw the next holder off the broker; the fence decides.
        """
        return self._monotonic() - self._renewed_at < self.lasts_s

    def is_wanted(self, lease: Lease) -> bool:
        """Whether a lease is a part of today's division."""
        return any(name == lease.name for name, _ in self._wanted)

    def all_ready(self) -> bool:
        """Whether the broker keeps messages for every part of today's division."""
        ready = {each.name for each in self.rows if each.ready_at is not None}
        return all(name in ready for name, _ in self._wanted)


def new_name() -> str:
    """A name that no other collector has, of signs that PostgreSQL keeps in the name of an application."""
    host = re.sub(r"[^A-Za-z0-9.-]", "-", socket.gethostname())
    tail = f"-{os.getpid()}-{secrets.token_hex(3)}"
    return f"collector-{host}"[: NAME_LENGTH - len(tail)] + tail
