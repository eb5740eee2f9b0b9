"""The table of timed jobs: name, interval in wall seconds, what to do.

APScheduler runs them in its own threads; a job that is still running is not started again, and one that
was missed while the machine slept runs once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from apscheduler.schedulers.background import BackgroundScheduler


@dataclass(frozen=True, slots=True)
class Job:
    """Something to do again and again."""

    name: str
    interval_s: float
    work: Callable[[], None]


def start(jobs: Sequence[Job]) -> BackgroundScheduler:
    """Start the jobs; the caller shuts the scheduler down.

    Returns
    -------
    BackgroundScheduler
    """
    scheduler = BackgroundScheduler(timezone="UTC")
    for job in jobs:
        scheduler.add_job(
            job.work, "interval", seconds=job.interval_s, id=job.name, max_instances=1, coalesce=True
        )
    scheduler.start()
    return scheduler
