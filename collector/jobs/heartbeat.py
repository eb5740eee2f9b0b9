"""Every second: the collector says that it is alive."""

from __future__ import annotations

from contextlib import suppress

from collector.alarms.delivering import worker_name
from collector.errors import StoreUnavailable
from collector.jobs.job import Job, Shop
from collector.store import heartbeats
from collector.store.database import write


def beat(shop: Shop) -> None:
    """Store a sign of life, with what the process knows of itself."""
    detail = shop.vitals.as_detail()
    try:
        with write(shop.engine) as conn:
            heartbeats.beat_of(conn, worker_name(), wall=shop.wall(), now=shop.clock.now(), detail=detail)
    except StoreUnavailable as error:
        shop.vitals.sign_problem = str(error)  # nobody else can be told by the store
        raise
    shop.vitals.sign_problem = None


def stop(shop: Shop) -> None:
    """Say that this collector ends because it was told to."""
    with suppress(StoreUnavailable), write(shop.engine) as conn:  # then it is not heard of any more
        heartbeats.stop_of(conn, worker_name(), wall=shop.wall())


JOB = Job(name="heartbeat", every_s=1.0, work=beat, shared=False)
