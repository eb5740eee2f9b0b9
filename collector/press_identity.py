"""Which shot of a press a message is, with a look into the store where that is needed.

Whoever asks has stored what waits before.
"""

from __future__ import annotations

from datetime import timedelta

import sqlalchemy as sa

from collector import amend, identity
from collector.contract.shot import Shot
from collector.identity import DEFAULT_POLL, POLL_CYCLES, Identity, Last, Stored
from collector.press_state import PressState
from collector.store import identities
from collector.store.identities import Following
from collector.store.runs import INFERRED
from collector.verdict import DEFAULT_CYCLE_S, Policy

SAME_TIME = timedelta(seconds=0.5)


def is_newest(shot: Shot, last: Last | None) -> bool:
    """Whether a shot is plainly the next one, so that nothing stored needs to be looked up."""
    if last is None:
        return True
    if shot.ended_at <= last.ended_at:
        return False
    return shot.counter is not None and last.counter is not None and shot.counter > last.counter


def next_one(shot: Shot, last: Last | None) -> Identity:
    """The identity of a shot that :func:`is_newest` says is plainly the next one."""
    if last is None or shot.counter is None:
        return identity.identify(shot.counter, shot.ended_at, last=last, stored=None, poll=DEFAULT_POLL)
    return identity.risen(shot.counter, last)


def is_clearly_later(shot: Shot, state: PressState) -> bool:
    """Whether a shot without a counter is too late to be any that is stored; none is newer than the last."""
    last, apart = state.last, polls(state)[1]
    return shot.counter is None and last is not None and shot.ended_at - apart >= last.ended_at


def polls(state: PressState) -> tuple[timedelta, timedelta]:
    """By how much two reports of a cycle may differ, and two shots without a counter at least do."""
    usual = state.usual_cycle_s()
    if usual is None:
        return DEFAULT_POLL, SAME_TIME  # before the cycle is known, two shots must not be taken for one
    poll = timedelta(seconds=POLL_CYCLES * usual)
    return poll, poll / 2


def leads_up(shot: Shot, following: Following | None, state: PressState, policy: Policy) -> bool:
    """Whether a shot that no run covers was made right before the first one of a run that nobody named.

    So many as count as startup may come late; more of them are a run of their own, which has its own charts.
    """
    last = state.last
    if following is None or following.opened_by != INFERRED or last is None or following.epoch != last.epoch:
        return False
    apart = 1
    if shot.counter is not None and following.counter is not None:
        apart = following.counter - shot.counter
    longest_s = policy.stop_cycles * (state.usual_cycle_s() or DEFAULT_CYCLE_S) * apart
    pause = following.ended_at - shot.ended_at
    return 1 <= apart <= policy.startup_shots and pause <= timedelta(seconds=longest_s)


class Lookup:
    """Looks into the store for shots like a message; the epochs of the press are asked for once."""

    def __init__(self, conn: sa.Connection, press_id: int) -> None:
        self._conn = conn
        self._press_id = press_id
        self._epochs: list[int] | None = None

    def forget(self) -> None:
        """Shots were stored: there may be another epoch."""
        self._epochs = None

    def alike(self, shot: Shot, state: PressState) -> list[Stored]:
        """The stored shots of this counter, one an epoch; without a counter, of this time."""
        if self._epochs is None:
            self._epochs = identities.epochs(self._conn, self._press_id)
        apart = polls(state)[1]
        return identities.alike(self._conn, self._press_id, shot, among=self._epochs, apart=apart)

    def same(self, shot: Shot, shot_id: int, state: PressState) -> int | None:
        """Which stored shot a known one is; None for one without a counter that only has another's time."""
        if shot.counter is not None or not amend.is_another(self._conn, shot_id, shot):
            return shot_id
        ids = (each.shot_id for each in self.alike(shot, state))
        return next((each for each in ids if not amend.is_another(self._conn, each, shot)), None)


def compared(shot: Shot, found: list[Stored], state: PressState) -> Identity:
    """The identity of a shot that may be one of these, or stored under the same name."""
    taken = {each.epoch for each in found if shot.counter is not None}
    return identity.identify(
        shot.counter, shot.ended_at, last=state.last, stored=identities.nearest(found, shot.ended_at),
        poll=polls(state)[0], taken=taken,
    )
