"""The life of an alarm as a table: which event leads from which state to which.

Closing is a step of its own beside the states of the standard: an alarm that came back to normal and was
acknowledged stays on the list until a person has given a cause ("unknown after checks" is one).

References
----------
IEC 62682:2022 and ANSI/ISA-18.2-2016, alarm state transition diagram (transitions retyped from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

from collector.contract.outgoing import AlarmState
from collector.errors import NotAllowed

AlarmEvent = Literal["occur", "acknowledge", "clear", "reoccur", "close"]
EVENTS: tuple[AlarmEvent, ...] = get_args(AlarmEvent)

CLEAR_AFTER_SHOTS = 5  # consecutive shots without a signal; common practice, no source

TRANSITIONS: dict[tuple[AlarmState, AlarmEvent], AlarmState] = {
    ("normal", "occur"): "active_unacknowledged",
    ("active_unacknowledged", "acknowledge"): "active_acknowledged",
    ("active_unacknowledged", "clear"): "returned_unacknowledged",
    ("active_acknowledged", "clear"): "normal",
    ("active_acknowledged", "close"): "normal",
    ("returned_unacknowledged", "acknowledge"): "normal",
    ("returned_unacknowledged", "reoccur"): "active_unacknowledged",
    ("normal", "reoccur"): "active_unacknowledged",
    ("normal", "close"): "normal",
}

REFUSALS: dict[AlarmEvent, str] = {
    "occur": "it has already occurred",
    "acknowledge": "there is nothing left to acknowledge",
    "clear": "it is not active",
    "reoccur": "it is active already",
    "close": "acknowledge it first",
}


@dataclass(frozen=True, slots=True)
class Stage:
    """Where an alarm stands: its state, whether it has ever occurred, whether a person closed it."""

    state: AlarmState = "normal"
    occurred: bool = False
    closed: bool = False

    @property
    def active(self) -> bool:
        """Whether the condition is there now."""
        return self.state in ("active_unacknowledged", "active_acknowledged")


def step(stage: Stage, event: AlarmEvent) -> Stage:
    """Carry out one event.

    Parameters
    ----------
    stage : Stage
        Where the alarm stands.
    event : {'occur', 'acknowledge', 'clear', 'reoccur', 'close'}
        What happens.

    Returns
    -------
    Stage
        Where it stands afterwards.

    Raises
    ------
    NotAllowed
        When the event is not possible there; the message says why.
    """
    if not may(stage, event):
        raise NotAllowed(f"cannot {event} this alarm ({_words(stage)}): {_why_not(stage, event)}")
    return replace(
        stage, state=TRANSITIONS[stage.state, event], occurred=True, closed=stage.closed or event == "close"
    )


def may(stage: Stage, event: AlarmEvent) -> bool:
    """Whether `event` is possible at `stage`."""
    if stage.closed or stage.occurred == (event == "occur"):
        return False
    return (stage.state, event) in TRANSITIONS


def _why_not(stage: Stage, event: AlarmEvent) -> str:
    if stage.closed:
        return "it is closed"
    return REFUSALS[event] if stage.occurred else "it has not occurred"


def _words(stage: Stage) -> str:
    return "closed" if stage.closed else stage.state.replace("_", " ")
