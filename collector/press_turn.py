"""Messages of one press taken in one transaction, from the state that is stored to the one that follows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from collector.arrival import in_order
from collector.clock import Moment
from collector.contract.bodies import Message
from collector.gauging.record import join_waiting
from collector.press_state import PressState, dump, load
from collector.press_work import PressWork
from collector.store import limits, presses
from collector.store.presses import PressRow
from collector.verdict import Policy


def state_of(conn: sa.Connection, press_id: int) -> PressState:
    """The state of a press as it is stored; an empty one before its first message."""
    stored = presses.load_engine_state(conn, press_id)
    return PressState() if stored is None else load(stored, lambda each: limits.by_id(conn, each))


def take_turn(
    conn: sa.Connection, press: PressRow, state: PressState, messages: Sequence[Message], *, policy: Policy,
    moment: Moment,
) -> tuple[PressWork, dict[str, Any]]:
    """Take messages of a press that is locked.

    Parameters
    ----------
    conn : Connection
        A writing transaction in which the press is locked.
    press : PressRow
    state : PressState
        As it is stored.
    messages : sequence of Message
        In the order of arrival.
    policy : Policy
    moment : Moment

    Returns
    -------
    work : PressWork
        Finished.
    stored : dict
        The state that follows, as it was stored.
    """
    work = PressWork(conn, press, state, policy, moment)
    work.look_ahead(messages)
    for message in in_order(messages):
        work.take(message)
    work.finish()
    stored = dump(work.state)
    presses.save_engine_state(conn, press.id, stored, last_shot_id=work.rows.last_shot_id)
    if work.counts.stored or work.counts.late or work.counts.past:
        join_waiting(conn, press.id)
    return work, stored
