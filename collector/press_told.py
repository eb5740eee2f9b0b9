"""What a press or a person tells besides shots and runs: trays, setpoints, states, charts that start anew."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import sqlalchemy as sa

from collector import setpoints
from collector.contract.messages import SetpointsMessage, StateMessage, TrayMessage
from collector.press_rows import PressRows
from collector.press_runs import PressRuns
from collector.press_state import PressState
from collector.store import events, presses, restarts
from collector.verdict import Policy


def tray(conn: sa.Connection, rows: PressRows, state: PressState, message: TrayMessage) -> PressState:
    """From now on discs go to this tray."""
    # A message that the broker hands over again must not count the places of its tray anew.
    if events.is_known(conn, rows.press.id, "tray", at=message.at, new=message.tray):
        return state
    rows.event("tray", at=message.at, source=message.source, new=message.tray)
    return replace(state, tray=message.tray, tray_next=message.position or 1)


def new_setpoints(
    rows: PressRows, state: PressState, message: SetpointsMessage, policy: Policy
) -> PressState:
    """These setpoints are in force, as far as nothing newer was told; a change lets the charts start anew."""
    told = setpoints.news(state, message.setpoints, at=message.at)
    state, changed = setpoints.compare_setpoints(state, told, policy, at=message.at)
    for each in changed:
        rows.event(
            "setpoint", at=message.at, source=message.source, key=each.key, old=each.old, new=each.new
        )
    if not (changed and state.charting):
        return state
    rows.event("chart_restart", at=message.at, note="setpoint changed")
    return state.restarted()


def new_state(conn: sa.Connection, rows: PressRows, message: StateMessage) -> None:
    """The press, or its gateway, is in another state."""
    changed, before = presses.note_state(conn, rows.press.id, message)
    if changed:
        rows.event(
            "state", at=message.at, source=message.source, old=before, new=message.state, note=message.reason
        )


def carry_out_restarts(
    conn: sa.Connection, rows: PressRows, runs: PressRuns, state: PressState, *, now: datetime
) -> PressState:
    """Charts that a person asked to start anew do so, with limits approved since."""
    asked = restarts.take(conn, rows.press.id, at=now)
    if not asked:
        return state
    state = runs.adopt_approved(state, at=now)
    for each in asked:
        state = state.restarted(each.key)
        rows.event("chart_restart", at=now, source=each.who, key=each.key, note=each.why)
    return state
