"""Which shot of a press a message is: a new one, one we have, a corrected one, or a late one. Pure.

A press's counter may repeat, restart or be polled twice, so a shot is named by press, counter epoch and
counter. An epoch is a stretch in which the counter only rises; a counter that falls, or repeats at a far
later time, opens a new one. A press without a counter names its shots by their time. The records are tuples,
because they come with every shot.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta
from enum import Enum
from typing import NamedTuple

# Two reports of one cycle lie closer than two cycles do.
POLL_CYCLES = 0.9
DEFAULT_POLL = timedelta(seconds=30)


class Kind(Enum):
    """What a message is to the shots we already have."""

    NEW = "new"
    NEW_EPOCH = "new_epoch"
    KNOWN = "known"  # the same shot again; its values decide between a duplicate and an amendment
    LATE = "late"


class Last(NamedTuple):
    """The newest shot of a press, as far as identity goes."""

    epoch: int
    counter: int | None
    ended_at: datetime


class Stored(NamedTuple):
    """A stored shot with the counter (or time) that the message names."""

    shot_id: int
    epoch: int
    ended_at: datetime


class Identity(NamedTuple):
    """The verdict: kind, epoch, the stored shot if there is one, and how many counters were skipped."""

    kind: Kind
    epoch: int
    shot_id: int | None = None
    missing: int = 0


def identify(
    counter: int | None,
    ended_at: datetime,
    *,
    last: Last | None,
    stored: Stored | None,
    poll: timedelta,
    taken: Collection[int] = (),
) -> Identity:
    """Decide what a message is.

    Parameters
    ----------
    counter : int or None
        The press's own count, if it has one.
    ended_at : datetime
        Aware UTC time the cycle ended.
    last : Last or None
        The press's newest shot; None before the first.
    stored : Stored or None
        The newest stored shot of this press with the same counter (without a counter: the same time).
    poll : timedelta
        By how much two reports of one cycle may differ in time; about one cycle.
    taken : collection of int
        Epochs that have a shot with this counter already.

    Returns
    -------
    Identity
    """
    if last is None:
        return Identity(Kind.NEW, epoch=0)
    found = _likely(counter, ended_at, last=last, stored=stored, poll=poll)
    if found.kind is Kind.KNOWN or found.epoch not in taken:
        return found
    return _elsewhere(found, last=last, taken=taken)


def risen(counter: int, last: Last) -> Identity:
    """A shot of the same epoch with a higher count; the counts between are missing."""
    assert last.counter is not None
    return Identity(Kind.NEW, last.epoch, missing=counter - last.counter - 1)


def _elsewhere(found: Identity, *, last: Last, taken: Collection[int]) -> Identity:
    """The place is taken by another shot: a straggler of the epoch before, else the next of this one."""
    if found.kind is Kind.LATE:
        for epoch in (last.epoch - 1, last.epoch):
            if epoch >= 0 and epoch not in taken:
                before = epoch < last.epoch
                return Identity(Kind.LATE if before else Kind.NEW, epoch=epoch)
    return Identity(Kind.NEW_EPOCH, epoch=last.epoch + 1)


def _likely(
    counter: int | None, ended_at: datetime, *, last: Last, stored: Stored | None, poll: timedelta
) -> Identity:
    if stored is not None and abs(ended_at - stored.ended_at) <= poll:
        return Identity(Kind.KNOWN, epoch=stored.epoch, shot_id=stored.shot_id)
    if counter is None or last.counter is None:
        kind = Kind.NEW if ended_at > last.ended_at else Kind.LATE
        return Identity(kind, epoch=last.epoch)
    if counter > last.counter:
        return _risen(counter, ended_at, last=last, poll=poll)
    # The counter fell or repeats. Later in time it counts anew; earlier in time it is a straggler.
    if ended_at > last.ended_at:
        return Identity(Kind.NEW_EPOCH, epoch=last.epoch + 1)
    return Identity(Kind.LATE, epoch=last.epoch)


def _risen(counter: int, ended_at: datetime, *, last: Last, poll: timedelta) -> Identity:
    assert last.counter is not None
    if counter == last.counter + 1:
        # The very next count, whatever the press's clock says: that was set back.
        return Identity(Kind.NEW, epoch=last.epoch)
    if ended_at < last.ended_at - poll and last.epoch > 0:
        # A higher count from long before: a straggler of the epoch that ended when the counter fell.
        return Identity(Kind.LATE, epoch=last.epoch - 1)
    return risen(counter, last)
