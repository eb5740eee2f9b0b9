"""The life of an alarm as a pure state machine: facts, the state that follows, the events that may come.

The nine states are those of the standard. Six follow from three facts: whether the condition is there,
whether somebody has it, and whether discs wait on its hold (then it latches when the condition goes). The
other three keep it quiet: shelved by a person until a time, suppressed by design while its press starts up or
stands, out of service by a person. Beneath them its life goes on, and what it comes back to follows from the
condition.

Closing is a step of its own beside the states of the standard: an alarm that came back to normal and was
acknowledged stays on the list until a person has given a cause ("unknown after checks" is one). A closed
alarm whose discs are still on hold stays latched until the hold is decided.

References
----------
IEC 62682:2022 and ANSI/ISA-18.2-2016, alarm state transition diagram (transitions retyped from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Literal, get_args

from collector.contract.outgoing import AlarmState
from collector.errors import NotAllowed

Aside = Literal["shelved", "suppressed_by_design", "out_of_service"]
ASIDE: tuple[Aside, ...] = get_args(Aside)

AlarmEvent = Literal[
    "occur", "acknowledge", "clear", "reoccur", "realarm", "hold", "reset", "close",
    "shelve", "unshelve", "suppress", "unsuppress", "take_out", "put_back",
]  # fmt: skip
EVENTS: tuple[AlarmEvent, ...] = get_args(AlarmEvent)

CLEAR_AFTER_SHOTS = 5  # consecutive shots without a signal; common practice, no source
REALARM_AFTER = timedelta(hours=8)  # a shift: who acknowledged it has gone home; common practice, no source

_ACTIVE: dict[bool, AlarmState] = {False: "active_unacknowledged", True: "active_acknowledged"}
_LATCHED: dict[bool, AlarmState] = {False: "latched_unacknowledged", True: "latched_acknowledged"}
_GONE: dict[bool, AlarmState] = {False: "returned_unacknowledged", True: "normal"}


@dataclass(frozen=True, slots=True)
class Stage:
    """Where an alarm stands.

    Attributes
    ----------
    occurred : bool
        It has a life; before that nothing else is true of it.
    active : bool
        The condition is there now.
    acknowledged : bool
        A person has it in hand; nothing is left to acknowledge before it occurs.
    holding : bool
        Discs wait on a hold of it.
    aside : {'shelved', 'suppressed_by_design', 'out_of_service'} or None
        What keeps it quiet.
    closed : bool
        A person gave its cause.
    """

    occurred: bool = False
    active: bool = False
    acknowledged: bool = True
    holding: bool = False
    aside: Aside | None = None
    closed: bool = False

    @property
    def beneath(self) -> AlarmState:
        """The state it would be in if nothing kept it quiet."""
        states = _ACTIVE if self.active else _LATCHED if self.holding else _GONE
        return states[self.acknowledged]

    @property
    def state(self) -> AlarmState:
        """Its state in the words of the standard."""
        return self.aside or self.beneath


def stage_of(state: AlarmState, *, beneath: AlarmState | None, holding: bool, closed: bool) -> Stage:
    """Take up an alarm that was written down.

    Parameters
    ----------
    state, beneath : AlarmState
        As :attr:`Stage.state` and :attr:`Stage.beneath` gave them; `beneath` may be None where nothing
        keeps the alarm quiet.
    holding, closed : bool
        As in :class:`Stage`.

    Returns
    -------
    Stage
    """
    aside = next((each for each in ASIDE if each == state), None)
    facts = beneath if aside and beneath else state
    return Stage(
        occurred=True,
        active=facts in _ACTIVE.values(),
        acknowledged=facts in (_ACTIVE[True], _LATCHED[True], _GONE[True]),
        holding=holding,
        aside=aside,
        closed=closed,
    )


def step(stage: Stage, event: AlarmEvent) -> Stage:
    """Carry out one event.

    Parameters
    ----------
    stage : Stage
        Where the alarm stands.
    event : AlarmEvent
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
    refusal = why_not(stage, event)
    if refusal is not None:
        raise NotAllowed(f"cannot {_VERBS[event]} this alarm ({words(stage)}): {refusal}")
    return _MOVES[event](stage)


def may(stage: Stage, event: AlarmEvent) -> bool:
    """Whether `event` is possible at `stage`."""
    return why_not(stage, event) is None


def why_not(stage: Stage, event: AlarmEvent) -> str | None:
    """Why an event is not possible at a stage, None when it is."""
    if event == "occur":
        return "it has already occurred" if stage.occurred else None
    if not stage.occurred:
        return "it has not occurred"
    if stage.closed and event not in ("hold", "reset"):
        return "it is closed"
    return next((words for fits, words in _RULES[event] if not fits(stage)), None)


def words(stage: Stage) -> str:
    """The state for people."""
    if stage.closed:
        return "closed"
    return stage.state.replace("_", " ") if stage.occurred else "not there"


def _come_back(stage: Stage) -> Stage:
    """What was kept quiet calls anew if the condition is there; else there is nothing to acknowledge."""
    return replace(stage, aside=None, acknowledged=not stage.active)


_MOVES: dict[AlarmEvent, Callable[[Stage], Stage]] = {
    "occur": lambda s: replace(s, occurred=True, active=True, acknowledged=False),
    "acknowledge": lambda s: replace(s, acknowledged=True),
    "clear": lambda s: replace(s, active=False),
    "reoccur": lambda s: replace(s, active=True, acknowledged=False),
    "realarm": lambda s: replace(s, acknowledged=False),
    "hold": lambda s: replace(s, holding=True),
    "reset": lambda s: replace(s, holding=False),
    "close": lambda s: replace(s, active=False, closed=True),
    "shelve": lambda s: replace(s, aside="shelved"),
    "unshelve": _come_back,
    "suppress": lambda s: replace(s, aside="suppressed_by_design"),
    "unsuppress": _come_back,
    "take_out": lambda s: replace(s, aside="out_of_service"),
    "put_back": _come_back,
}

_VERBS: dict[AlarmEvent, str] = {event: event for event in EVENTS} | {
    "take_out": "take out", "put_back": "put back", "hold": "hold discs for", "reset": "reset",
    "unsuppress": "no longer suppress",
}  # fmt: skip

Rule = tuple[Callable[[Stage], bool], str]
_SEEN: Rule = (lambda s: s.aside is None, "it is kept quiet; let it come back first")
_IS_THERE: Rule = (lambda s: s.active, "it is not active")
_IS_GONE: Rule = (lambda s: not s.active, "it is active already")
_UNKNOWN: Rule = (lambda s: not s.acknowledged, "somebody has it: there is nothing left to acknowledge")
_KNOWN: Rule = (lambda s: s.acknowledged, "acknowledge it first")

_RULES: dict[AlarmEvent, tuple[Rule, ...]] = {
    "occur": (),
    "acknowledge": (_SEEN, _UNKNOWN),
    "clear": (_IS_THERE,),
    "reoccur": (_IS_GONE,),
    "realarm": (_SEEN, _IS_THERE, (lambda s: s.acknowledged, "it calls already")),
    "hold": ((lambda s: not s.holding, "its discs are on hold already"),),
    "reset": ((lambda s: s.holding, "no disc is on hold for it"),),
    "close": (_SEEN, _KNOWN),
    "shelve": (_SEEN,),
    "unshelve": ((lambda s: s.aside == "shelved", "it is not shelved"),),
    "suppress": (_SEEN,),
    "unsuppress": ((lambda s: s.aside == "suppressed_by_design", "it is not suppressed by design"),),
    "take_out": ((lambda s: s.aside != "out_of_service", "it is out of service already"),),
    "put_back": ((lambda s: s.aside == "out_of_service", "it is not out of service"),),
}
