"""Every minute: can the store be written, is there room on its disk, do the clocks agree."""

from __future__ import annotations

import shutil
import time
from datetime import datetime, timedelta
from pathlib import Path

import sqlalchemy as sa

from collector.errors import UserError
from collector.jobs.job import Job, Shop
from collector.store.database import read

MEGABYTE = 1_000_000
MOST_APART = timedelta(seconds=2)


class ClockWatch:
    """Sees whether the wall clock was set: then it moves away from the monotonic one."""

    def __init__(self) -> None:
        self._last: tuple[datetime, float] | None = None

    def stepped(self, wall: datetime, monotonic_s: float) -> timedelta:
        """By how much the wall clock was set since the last call; nothing at the first."""
        before, self._last = self._last, (wall, monotonic_s)
        if before is None:
            return timedelta(0)
        return (wall - before[0]) - timedelta(seconds=monotonic_s - before[1])


_watch = ClockWatch()


def check(shop: Shop) -> str:
    """Check disk and clocks; that this job's result can be stored at all shows that the store is writable.

    Raises
    ------
    UserError
        What is wrong, and what to do.
    """
    free_mb = free_space_mb(shop.engine.url)
    if free_mb is not None and free_mb < shop.settings.collector.least_free_mb:
        raise UserError(
            f"the store's disk has {free_mb:,.0f} MB left, less than "
            f"{shop.settings.collector.least_free_mb:,}: make room before nothing can be stored"
        )
    apart = _database_ahead(shop.engine, shop.wall())
    if abs(apart) > MOST_APART:
        raise UserError(
            f"the clock of the database is {apart.total_seconds():+.1f} s off this computer's: "
            "let both follow one time server"
        )
    jump = _watch.stepped(shop.wall(), time.monotonic())
    if abs(jump) > MOST_APART:
        raise UserError(
            f"this computer's clock was set by {jump.total_seconds():+.1f} s within the last minute: "
            "let it follow a time server that moves it gently"
        )
    room = "" if free_mb is None else f"{free_mb:,.0f} MB free, "
    return f"{room}clocks agree, the store can be written"


def free_space_mb(url: sa.URL) -> float | None:
    """Room on the disk of an SQLite store, in MB; None where the database is elsewhere."""
    if url.get_backend_name() != "sqlite" or url.database in (None, "", ":memory:"):
        return None
    folder = Path(str(url.database).removeprefix("file:")).resolve().parent
    return shutil.disk_usage(folder).free / MEGABYTE


def _database_ahead(engine: sa.Engine, wall: datetime) -> timedelta:
    """How far the clock of a database server is ahead of ours."""
    if engine.dialect.name != "postgresql":
        return timedelta(0)
    with read(engine) as conn:
        theirs: datetime = conn.execute(sa.select(sa.func.clock_timestamp())).scalar_one()
    return theirs - wall


JOB = Job(name="self-check", every_s=60.0, work=check, when_missed="declared")
