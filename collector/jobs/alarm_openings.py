"""Every ten seconds: alarms that were opened are noted in the journal, so that none can vanish unseen."""

from __future__ import annotations

from collector.contract.figures import counted
from collector.jobs.job import Job, Shop
from collector.proof import openings


def note(shop: Shop) -> str | None:
    """Note what was opened since the last run."""
    count = openings.note(shop.engine, clock=shop.clock)
    return f"{counted(count, 'alarm')} noted in the journal" if count else None


JOB = Job(name="alarm openings", every_s=10.0, work=note)
