"""When each timed job ran last, how long it took and what came of it; and who may run it now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.store.tables import job_results
from collector.store.upsert import insert_into

_TOLERANCE = 0.9  # a scheduler that is a little early must not skip a whole turn
_WORTH_SAYING = timedelta(minutes=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """The last run of a job; `finished_at` is older than `started_at` while it runs or after a crash."""

    name: str
    started_at: datetime
    finished_at: datetime | None
    took_s: float | None
    failed: bool
    outcome: str | None
    missed: str | None
    missed_until: datetime | None
    failed_since: datetime | None


def claim(
    conn: sa.Connection,
    name: str,
    *,
    wall: datetime,
    every: timedelta,
    longest: timedelta,
    when_missed: str,
) -> datetime | None:
    """Take a job for this interval.

    Parameters
    ----------
    conn : Connection
        From :func:`collector.store.database.write`.
    name : str
        The job.
    wall : datetime
        Now.
    every, longest : timedelta
        From one start to the next; and how long a run may take before it counts as cut off.
    when_missed : {'made up', 'declared'}
        What is said of the starts that no collector was there for.

    Returns
    -------
    datetime or None
        The claim, for :func:`finish`; None when it is not due or another collector has it.
    """
    row = conn.execute(sa.select(job_results).where(job_results.c.name == name)).one_or_none()
    if row is None:
        first = {"name": name, "started_at": wall, "failed": False}
        new = insert_into(conn, job_results).values(first).on_conflict_do_nothing()
        return wall if conn.execute(new.returning(job_results.c.name)).one_or_none() else None
    unfinished = row.finished_at is None or row.finished_at < row.started_at
    # A start in the future was written before the clock was set back; it must not stop the job until then.
    due = wall - row.started_at >= every * _TOLERANCE or row.started_at > wall
    if not due or (unfinished and timedelta(0) <= wall - row.started_at < longest):
        return None
    missed = _missed(wall - row.started_at, every, when_missed)
    said = {} if missed is None else {"missed": missed, "missed_until": wall}
    taken = conn.execute(
        sa.update(job_results)
        .where(job_results.c.name == name, job_results.c.started_at == row.started_at)
        .values(started_at=wall, **said)
    )
    return wall if taken.rowcount == 1 else None


def finish(
    conn: sa.Connection,
    name: str,
    claimed: datetime,
    *,
    wall: datetime,
    took_s: float,
    failed: bool,
    outcome: str | None,
) -> None:
    """Store what came of a run, unless another collector has taken the job since."""
    c = job_results.c
    since = sa.func.coalesce(c.failed_since, sa.literal(wall, c.failed_since.type)) if failed else None
    conn.execute(
        sa.update(job_results)
        .where(c.name == name, c.started_at == claimed)
        .values(
            # Never before its start, also when the clock was set back in between.
            finished_at=max(wall, claimed), took_s=took_s, failed=failed, outcome=outcome,
            failed_since=since,
        )
    )  # fmt: skip


def last_results(conn: sa.Connection) -> Sequence[Result]:
    """The last run of every job that ever ran, by name."""
    columns = [job_results.c[field.name] for field in fields(Result)]
    rows = conn.execute(sa.select(*columns).order_by(job_results.c.name)).mappings()
    return [Result(**row) for row in rows]


def _missed(gap: timedelta, every: timedelta, when_missed: str) -> str | None:
    """One sentence on the starts between the last one and now, None when there were none."""
    starts = int(gap / every) - 1
    if starts < 1 or gap < _WORTH_SAYING:
        return None
    times = "1 time" if starts == 1 else f"{starts:,} times"
    ending = "made up for by one run" if when_missed == "made up" else "not made up for"
    return f"{times} not run in time, as no collector ran or the store was away: {ending}"
