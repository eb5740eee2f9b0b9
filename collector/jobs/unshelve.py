"""Every few seconds: shelved alarms whose time is over come back, by floor time."""

from __future__ import annotations

from collector.actions import shelving
from collector.jobs.job import Job, Shop


def unshelve(shop: Shop) -> str | None:
    """Let due alarms come back, and have what they say delivered."""
    back = shelving.return_due(shop.engine, shop.clock)
    if not back:
        return None
    shop.deliver_soon()
    return f"alarm{'' if len(back) == 1 else 's'} {', '.join(map(str, back))} came back from the shelf"


JOB = Job(name="unshelve", every_s=5.0, work=unshelve)
