"""Every few seconds: which presses and gateways fell silent, and which other jobs are overdue."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from weakref import WeakKeyDictionary

import sqlalchemy as sa

from collector import jobs  # its list is complete only when the job runs: this one is part of it
from collector.alarms.ears import Ears, press_facts
from collector.alarms.silence import BROKER, Facts, JobFacts, verdicts
from collector.alarms.silence_apply import apply
from collector.clock import Moment
from collector.jobs.job import Job, Shop
from collector.store import alarms as alarm_store
from collector.store.database import read
from collector.store.jobs import Result, last_results

OVERDUE_TURNS = 3.0
OVERDUE_LEAST = timedelta(minutes=5)  # a job that looks hourly whether it is due is not late for a minute

# What one process heard; it must outlive a run of the job, and belongs to the store it was read from.
_ears: WeakKeyDictionary[sa.Engine, Ears] = WeakKeyDictionary()


def look(shop: Shop, *, monotonic: Callable[[], float] = time.monotonic) -> str | None:
    """Judge what is silent, and raise or clear the alarms that this means."""
    ears = _ears.setdefault(shop.engine, Ears())
    at_s = monotonic()
    with read(shop.engine) as conn:
        presses = press_facts(conn, shop.settings.site, ears, at_s=at_s, speed=shop.clock.speed)
        away = shop.vitals.broker() is not None or _broker_is_away(conn)
        away = away or shop.vitals.store_problem is not None  # then no shot can arrive in the store
        late = overdue(last_results(conn), jobs.JOBS, site=shop.settings.site, wall=shop.wall())
    if away:
        ears.start_over(at_s=at_s)
    found = verdicts(Facts(presses=presses, jobs=late, broker_away=away, settings=shop.settings.alarms))
    moment = Moment(shop.clock.now(), shop.wall())
    lines = apply(shop.engine, found, site=shop.settings.site, moment=moment)
    if lines:
        shop.deliver_soon()
    return "; ".join(lines) or None


def overdue(
    results: Sequence[Result], known: Sequence[Job], *, site: str, wall: datetime
) -> list[JobFacts]:
    """By how much each shared job is late, but those that other sites do for themselves.

    Parameters
    ----------
    results : sequence of Result
    known : sequence of Job
    site : str
    wall : datetime

    Returns
    -------
    list of JobFacts
        One for each job that ever ran.
    """
    own = {job.kept_as(site): job for job in known if job.shared}
    found = []
    for result in results:
        if (job := own.get(result.name)) is not None:
            patience = max(OVERDUE_TURNS * timedelta(seconds=job.every_s), OVERDUE_LEAST)
            late = wall - result.started_at - patience
            found.append(JobFacts(name=job.name, late_s=max(late.total_seconds(), 0.0)))
    return found


def _broker_is_away(conn: sa.Connection) -> bool:
    """Another collector may have told that it lost the broker."""
    active = (row for row in alarm_store.silences(conn) if row.state in alarm_store.ACTIVE)
    return any((row.subject or "").startswith(f"{BROKER}:") for row in active)


JOB: Job = Job(name="silence", every_s=5.0, work=look, of_site=True)
