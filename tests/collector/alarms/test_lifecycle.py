"""The life of an alarm, over every sequence of events.

The state names and the transitions occur, acknowledge, clear and re-occur are those of IEC 62682:2022 and
ANSI/ISA-18.2-2016 (from memory); that a cause is asked for at closing is common practice, no source.
"""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.alarms.lifecycle import EVENTS, TRANSITIONS, AlarmEvent, Stage, may, step
from collector.errors import NotAllowed

A, B, C, D = "normal", "active_unacknowledged", "active_acknowledged", "returned_unacknowledged"

# The diagram of the standard: A normal, B unacknowledged, C acknowledged, D returned unacknowledged.
STANDARD = {
    (A, "occur"): B,
    (B, "acknowledge"): C,
    (B, "clear"): D,
    (C, "clear"): A,
    (D, "acknowledge"): A,
    (D, "reoccur"): B,
}


def run(events: tuple[AlarmEvent, ...]) -> Stage:
    stage = Stage()
    for event in events:
        if may(stage, event):
            stage = step(stage, event)
    return stage


def test_the_table_contains_the_transitions_of_the_standard() -> None:
    assert {pair: TRANSITIONS[pair] for pair in STANDARD} == STANDARD


def test_every_sequence_of_six_events_keeps_the_invariants() -> None:
    for events in product(EVENTS, repeat=6):
        stage, acknowledged = Stage(), False
        for event in events:
            if not may(stage, event):
                with pytest.raises(NotAllowed):
                    step(stage, event)
                continue
            following = step(stage, event)
            acknowledged = event == "acknowledge" or (acknowledged and event not in ("occur", "reoccur"))
            assert not stage.closed, "nothing happens to a closed alarm"
            assert following.active == (following.state in (B, C))
            assert following.closed == (event == "close")
            if following.state in (B, D):
                assert not acknowledged
            else:
                assert acknowledged, "nobody leaves the list of the unacknowledged unseen"
            stage = following


@given(st.lists(st.sampled_from(EVENTS), max_size=40))
def test_an_alarm_that_occurred_can_always_be_brought_to_its_close(events: list[AlarmEvent]) -> None:
    stage = run(("occur", *events))
    if stage.closed:
        return
    if may(stage, "acknowledge"):
        stage = step(stage, "acknowledge")
    assert step(stage, "close").closed


@given(st.lists(st.sampled_from(EVENTS), max_size=40))
def test_only_a_person_closes(events: list[AlarmEvent]) -> None:
    assert run(tuple(event for event in events if event != "close")).closed is False


@pytest.mark.parametrize(
    ("events", "refused", "words"),
    [
        ((), "acknowledge", "it has not occurred"),
        (("occur",), "close", "acknowledge it first"),
        (("occur", "acknowledge"), "acknowledge", "nothing left to acknowledge"),
        (("occur", "acknowledge", "clear", "close"), "reoccur", "it is closed"),
    ],
)
def test_a_refusal_says_why(events: tuple[AlarmEvent, ...], refused: AlarmEvent, words: str) -> None:
    with pytest.raises(NotAllowed, match=words):
        step(run(events), refused)


def test_an_acknowledged_alarm_that_returned_stays_open_until_closed() -> None:
    stage = run(("occur", "acknowledge", "clear"))
    assert stage == Stage(A, occurred=True, closed=False)
    assert step(stage, "close").closed
