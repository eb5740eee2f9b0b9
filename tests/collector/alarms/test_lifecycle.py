"""The life of an alarm, over every stage that can be reached and every sequence of events.

The nine states and the transitions between them are those of the alarm state transition diagram of
IEC 62682:2022 and ANSI/ISA-18.2-2016 (letters and transitions from memory). That a cause is asked for at
closing, and that a closed alarm stays latched while its discs are on hold, is common practice, no source.
"""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.alarms.lifecycle import ASIDE, EVENTS, AlarmEvent, Stage, may, stage_of, step, why_not
from collector.contract.outgoing import AlarmState
from collector.errors import NotAllowed

A, B, C, D = "normal", "active_unacknowledged", "active_acknowledged", "returned_unacknowledged"
E, F = "latched_unacknowledged", "latched_acknowledged"
G, H, I = "shelved", "suppressed_by_design", "out_of_service"  # noqa: E741 - the letters of the diagram

# The diagram of the standard, as the states in which our stages stand before and after.
STANDARD: dict[tuple[str, AlarmEvent], set[str]] = {
    (A, "occur"): {B},
    (A, "reoccur"): {B},
    (B, "acknowledge"): {C},
    (B, "clear"): {D, E},  # E where it latches
    (C, "clear"): {A, F},  # F where it latches
    (C, "realarm"): {B},
    (D, "acknowledge"): {A},
    (D, "reoccur"): {B},
    (E, "acknowledge"): {F},
    (E, "reoccur"): {B},
    (F, "reset"): {A},
    (F, "reoccur"): {B},
    **{(state, "shelve"): {G} for state in (A, B, C, D, E, F)},
    **{(state, "suppress"): {H} for state in (A, B, C, D, E, F)},
    **{(state, "take_out"): {I} for state in (A, B, C, D, E, F, G, H)},
    # back by the condition: unacknowledged while it is there, otherwise normal (F where it latches)
    (G, "unshelve"): {A, B, F},
    (H, "unsuppress"): {A, B, F},
    (I, "put_back"): {A, B, F},
}
NO_SUCH_ARROW: dict[tuple[str, AlarmEvent], set[str]] = {  # ours, see the docstring of the module
    (E, "reset"): {D},  # discs decided about before anybody acknowledged
    **{(state, event): {state} for state in (G, H, I) for event in ("clear", "reoccur", "hold", "reset")},
    **{(state, event): {state} for state in (B, C) for event in ("hold", "reset")},
    (A, "hold"): {F},  # a hold that was opened again
    (D, "hold"): {E},
    (A, "close"): {A},
    (C, "close"): {A, F},
    (F, "close"): {F},
}


def reachable() -> dict[Stage, set[tuple[AlarmEvent, Stage]]]:
    """Every stage that some sequence of events leads to, with the ways out of it."""
    found: dict[Stage, set[tuple[AlarmEvent, Stage]]] = {}
    waiting = [Stage()]
    while waiting:
        stage = waiting.pop()
        if stage in found:
            continue
        found[stage] = {(event, step(stage, event)) for event in EVENTS if may(stage, event)}
        waiting += [following for _, following in found[stage]]
    return found


STAGES = reachable()


def test_every_state_of_the_standard_can_be_reached_and_no_other() -> None:
    assert {stage.state for stage in STAGES} == set(get_args(AlarmState))


def test_every_transition_is_one_of_the_standard_or_one_that_we_own_up_to() -> None:
    seen: dict[tuple[str, AlarmEvent], set[str]] = {}
    for stage, ways in STAGES.items():
        for event, following in ways:
            seen.setdefault((stage.state, event), set()).add(following.state)
    assert seen == STANDARD | NO_SUCH_ARROW


def test_what_is_not_possible_is_refused_with_a_sentence() -> None:
    for stage in STAGES:
        for event in EVENTS:
            if may(stage, event):
                continue
            with pytest.raises(NotAllowed, match=r"^cannot [a-z ]+ this alarm \([a-z ]+\): [a-z]"):
                step(stage, event)
            assert why_not(stage, event)


def test_from_every_stage_there_is_a_way_to_its_end() -> None:
    """Closed, nothing on hold: the only stage that may be left alone for good."""
    over = {stage for stage in STAGES if stage.closed and not stage.holding}
    leads_there = set(over)
    while True:
        more = {stage for stage, ways in STAGES.items() if any(after in leads_there for _, after in ways)}
        if more <= leads_there:
            break
        leads_there |= more
    assert leads_there == set(STAGES)


def test_nobody_is_passed_over() -> None:
    """Only a person acknowledges; or it was kept quiet while it came and went."""
    for stage, ways in STAGES.items():
        for event, after in ways:
            if after.acknowledged and not stage.acknowledged:
                assert event in ("acknowledge", "unshelve", "unsuppress", "put_back")
            if event in ("unshelve", "unsuppress", "put_back"):
                assert after.acknowledged != after.active


def test_what_is_kept_quiet_neither_calls_nor_forgets() -> None:
    for stage, ways in STAGES.items():
        for event, after in ways:
            if stage.aside is None and after.aside in ASIDE:
                assert (after.active, after.acknowledged, after.holding) == (
                    stage.active, stage.acknowledged, stage.holding,
                ), event  # fmt: skip


def test_a_closed_alarm_is_left_alone_except_for_its_discs() -> None:
    for stage, ways in STAGES.items():
        if stage.closed:
            assert {event for event, _ in ways} <= {"hold", "reset"}
            assert stage.state in (A, F)
            assert not stage.active


def test_a_stage_that_is_written_down_is_read_back_the_same() -> None:
    for stage in STAGES:
        if stage.occurred:
            assert stage == stage_of(
                stage.state, beneath=stage.beneath, holding=stage.holding, closed=stage.closed
            )


@given(st.lists(st.sampled_from(EVENTS), max_size=60))
def test_whatever_happens_the_state_is_one_of_the_nine_and_only_a_person_closes(
    events: list[AlarmEvent],
) -> None:
    stage = Stage()
    for event in events:
        before = stage
        try:
            stage = step(stage, event)
        except NotAllowed:
            assert stage is before
        assert stage.state in get_args(AlarmState)
        assert stage.beneath not in ASIDE
        assert stage.closed == (before.closed or (event == "close" and may(before, "close")))


@given(st.lists(st.sampled_from(EVENTS), max_size=40))
def test_an_alarm_that_occurred_can_always_be_brought_to_its_close(events: list[AlarmEvent]) -> None:
    stage = step(Stage(), "occur")
    for event in events:
        stage = step(stage, event) if may(stage, event) else stage
    for event in ("unshelve", "unsuppress", "put_back", "acknowledge", "close", "reset"):
        stage = step(stage, event) if may(stage, event) else stage  # type: ignore[arg-type]
    assert (stage.closed, stage.state) == (True, "normal")


@pytest.mark.parametrize(
    ("events", "refused", "words"),
    [
        ((), "acknowledge", "it has not occurred"),
        (("occur",), "close", "acknowledge it first"),
        (("occur",), "occur", "it has already occurred"),
        (("occur", "acknowledge"), "acknowledge", "nothing left to acknowledge"),
        (("occur", "acknowledge", "clear", "close"), "reoccur", "it is closed"),
        (("occur", "shelve"), "acknowledge", r"\(shelved\): it is kept quiet; let it come back first"),
        (("occur", "shelve"), "shelve", "it is kept quiet"),
        (("occur",), "unshelve", "it is not shelved"),
    ],
)
def test_a_refusal_says_why(events: tuple[AlarmEvent, ...], refused: AlarmEvent, words: str) -> None:
    stage = Stage()
    for event in events:
        stage = step(stage, event)
    with pytest.raises(NotAllowed, match=words):
        step(stage, refused)
