"""Who is to be told of an alarm now: by role, time, shift and what was told before. Pure.

Everything follows from the state of things, not from a sequence of steps: whoever asks, after a crash or on
another collector, gets the same answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from collector.settings_delivery import MessageChannel, Notify, Priority, Role

Reason = Literal["new", "grew", "again"]

# What went back to normal so long ago waits on the Alarms page: a channel that is new, or on again, or whose
# shift begins, must not be flooded with it.
OVER_AFTER = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """An alarm that nobody has acknowledged.

    Attributes
    ----------
    active : bool
        It is there now; one that went back to normal is told once, but neither repeated nor escalated.
    since : datetime
        Floor time since which it waits: when it opened, or came back.
    characteristics, occurrences : int
        How much of it there is: characteristics that moved, and how often it came.
    """

    alarm_id: int
    priority: Priority
    active: bool
    since: datetime
    characteristics: int
    occurrences: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a channel was told of an alarm last; `at` is floor time, `number` counts from 1."""

    number: int
    at: datetime
    characteristics: int
    occurrences: int


def to_tell(
    alarm: Waiting,
    told: Mapping[str, Told],
    channels: Sequence[MessageChannel],
    rules: Notify,
    now: datetime,
) -> dict[str, Reason]:
    """Channels to send an alarm to now, each with the reason.

    Parameters
    ----------
    alarm : Waiting
    told : mapping of str to Told
        By channel, the last message about this alarm.
    channels : sequence of MessageChannel
        Those that are used now: enabled, and their shift is on.
    rules : Notify
    now : datetime
        Floor time.
    """
    if not alarm.active and now - alarm.since > OVER_AFTER:
        return {}
    takers = [one for one in channels if "alarms" in one.tell and alarm.priority in one.priorities]
    roles = addressed(alarm, takers, rules, now)
    found = {
        one.name: _reason(alarm, told.get(one.name), rules, now)
        for one in takers
        if roles.intersection(one.roles)
    }
    return {name: reason for name, reason in found.items() if reason is not None}


def addressed(
    alarm: Waiting, channels: Sequence[MessageChannel], rules: Notify, now: datetime
) -> set[Role]:
    """Roles that are told by now; where none of them can be reached, the next ones at once."""
    roles: set[Role] = set(rules.first)
    for step in sorted(rules.escalation, key=lambda one: one.after_min):
        reached = any(roles.intersection(one.roles) for one in channels)
        late = alarm.active and now - alarm.since >= timedelta(minutes=step.after_min)
        if late or not reached:
            roles.add(step.role)
    return roles


def _reason(alarm: Waiting, last: Told | None, rules: Notify, now: datetime) -> Reason | None:
    if last is None:
        return "new"
    if alarm.characteristics > last.characteristics or alarm.occurrences > last.occurrences:
        return "grew"
    waited = now - last.at >= timedelta(minutes=rules.again_after_min)
    return "again" if alarm.active and rules.again_after_min > 0 and waited else None
