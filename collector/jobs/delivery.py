"""Every second: whatever became due in the outbox without anybody asking, such as another try."""

from __future__ import annotations

from collector.jobs.job import Job, Shop


def ask(shop: Shop) -> None:
    """Have the outbox looked at."""
    shop.deliver_soon()


JOB = Job(name="delivery", every_s=1.0, work=ask, shared=False)
