"""Who names a run: the press itself in shots and messages, a person's form, or a file. Pure.

A run that a person opened has the shots that follow although the press goes on naming the one before, until
somebody ends it or the press names yet another.
"""

from __future__ import annotations

from dataclasses import replace

from collector.contract.shot import Shot
from collector.press_state import PressState
from collector.store.runs import FILE, FORM, MESSAGE, RunRow

MQTT, SPARKPLUG = "mqtt", "sparkplug"  # what live sources name themselves
_DOORS = {MQTT: MESSAGE, SPARKPLUG: MESSAGE, FORM: FORM}


def door(source: str) -> str:
    """By which door a run was named: a message, a person's form, or the file that was imported."""
    return _DOORS.get(source, FILE)


def is_file(source: str) -> bool:
    """Whether a message came out of a file."""
    return source not in _DOORS


def told(state: PressState, name: str, source: str) -> PressState:
    """The state once a source named a run; a person is not the press."""
    return state if source == FORM else replace(state, told_run=name)


def takes_over(state: PressState, run: RunRow, name: str) -> bool:
    """Whether the open run has what the press says of the run of this name."""
    return run.opened_by == FORM and run.name != name == state.told_run


def takes_shot_over(state: PressState, run: RunRow, shot: Shot) -> bool:
    """Whether the open run has a shot that names another.

    A live shot that was on its way when the run was opened belongs to it, as clocks differ; a row of a file
    says when it was made.
    """
    assert shot.run is not None
    before = is_file(shot.source) and shot.ended_at < run.opened_at
    return not before and takes_over(state, run, shot.run)


def over(state: PressState, before: RunRow | None, run: RunRow, source: str) -> tuple[PressState, str | None]:
    """The state before a run begins, and the run whose shots it takes over, as only a person's run does."""
    if source != FORM:
        return state, None
    if state.told_run is None and before is not None and before.opened_by in (MESSAGE, FILE):
        state = replace(state, told_run=before.name)
    return state, None if state.told_run == run.name else state.told_run
