"""Running the jobs: APScheduler's threads, one claim and one stored result a run.

A job that is still running is not started again. Whether a shared job is due is decided by its row in the
store, not by the scheduler, so that a daily job keeps its hour over restarts and of several collectors one
does it.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Sequence
from datetime import timedelta

from apscheduler.schedulers.background import BackgroundScheduler

from collector.errors import EvenrunError
from collector.jobs.job import Job, Shop
from collector.store import jobs as results
from collector.store.database import write

log = logging.getLogger("evenrun.jobs")

LOOK_S = 60.0  # how often a rare job asks whether it is due


def start(jobs: Sequence[Job], shop: Shop) -> BackgroundScheduler:
    """Start the jobs; the caller shuts the scheduler down.

    Returns
    -------
    BackgroundScheduler
    """
    # That a run is skipped while the one before it still runs is meant, and not worth a line each second.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    scheduler = BackgroundScheduler(timezone="UTC")
    for job in jobs:
        scheduler.add_job(
            run_if_due, "interval", args=(job, shop), seconds=min(job.every_s, LOOK_S), id=job.name,
            max_instances=1, coalesce=True, misfire_grace_time=None,
        )  # fmt: skip
    scheduler.start()
    return scheduler


def run_if_due(job: Job, shop: Shop) -> bool:
    """Run a job unless another collector did, or it is not time yet; True when it ran.

    A collector that only waits to take over runs none: it has no connection to the broker to judge or use.
    Nothing is raised: whatever happens, the jobs after it must still run.
    """
    if not shop.at_work():
        return False
    try:
        if not job.shared:
            job.work(shop)
            return True
        return _run_shared(job, shop)
    except EvenrunError as error:
        log.warning("the job %r waits: %s", job.name, error)
    except Exception:
        log.exception("the job %r failed", job.name)
    return False


def _run_shared(job: Job, shop: Shop) -> bool:
    name = job.kept_as(shop.settings.site)
    with write(shop.engine) as conn:
        claim = results.claim(
            conn, name, wall=shop.wall(), every=timedelta(seconds=job.every_s),
            longest=timedelta(seconds=job.longest_s), when_missed=job.when_missed,
        )  # fmt: skip
    if claim is None:
        return False
    began = time.monotonic()
    outcome, failed = None, True
    try:
        outcome, failed = job.work(shop), False
    except EvenrunError as error:
        outcome = str(error)
    except Exception as error:
        log.exception("the job %r failed", job.name)
        outcome = f"failed with {type(error).__name__}, which nobody foresaw; the collector's log tells where"
    with write(shop.engine) as conn:
        results.finish(
            conn, name, claim, wall=shop.wall(), took_s=time.monotonic() - began, failed=failed,
            outcome=outcome,
        )  # fmt: skip
    return True
