"""Every ten seconds: alarms that nobody has acknowledged for long enough go to the next role, or again."""

from __future__ import annotations

from collector.alarms.notifying import tell_people
from collector.contract.figures import counted
from collector.jobs.job import Job, Shop


def escalate(shop: Shop) -> str | None:
    """Put the messages that are due by now in the outbox."""
    told = tell_people(shop.engine, shop.settings, shop.clock)
    if told:
        shop.deliver_soon()
    if not shop.settings.channels:
        return "no channel to people is set up"
    return f"{counted(told, 'message')} added" if told else "nobody is to be told now"


JOB = Job(name="escalation", every_s=10.0, work=escalate, of_site=True)
