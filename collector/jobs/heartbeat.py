"""Every second: the collector says that it is alive."""

from __future__ import annotations

from collector.alarms.delivering import worker_name
from collector.jobs.job import Job, Shop
from collector.store import heartbeats
from collector.store.database import write


def beat(shop: Shop) -> None:
    """Store a sign of life, with what the process knows of itself."""
    detail = shop.vitals.as_detail()
    with write(shop.engine) as conn:
        heartbeats.beat_of(conn, worker_name(), wall=shop.wall(), now=shop.clock.now(), detail=detail)


JOB = Job(name="heartbeat", every_s=1.0, work=beat, shared=False)
