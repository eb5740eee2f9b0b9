"""Every second: the collector says that it is alive."""

from __future__ import annotations

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


JOB = Job(name="heartbeat", every_s=1.0, work=beat, shared=False)
