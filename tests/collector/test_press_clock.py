"""The clock of a press. That lags only lengthen is how messages travel: common practice, no source."""

from __future__ import annotations

import json

from collector.press_clock import FAR_S, NOT_HEARD, WINDOW, PressClock, hear, words
from collector.press_state import PressState, dump, load


def told(lags_s: list[float], known: PressClock = NOT_HEARD) -> tuple[PressClock, list[str]]:
    said = []
    for lag_s in lags_s:
        known, sentence = hear(known, lag_s)
        said += [sentence] if sentence else []
    return known, said


def test_a_clock_that_agrees_says_nothing() -> None:
    known, said = told([0.3, 1.2, 0.2, 5.0, 0.4, 0.3])

    assert said == []
    assert known.behind_s == 0.2


def test_a_clock_far_behind_is_told_once() -> None:
    known, said = told([200.0, 200.4, 203.0, 200.1, 200.2, *[200.3] * 20])

    assert said == ["the press's clock is 3.3 min behind ours"]
    assert known.behind_s is not None
    assert abs(known.behind_s - 200.3) < 0.5


def test_a_clock_that_steps_is_told_again_and_so_is_its_return() -> None:
    _, said = told([0.5] * 10 + [-300.0] * 10 + [3600.0] * 10 + [0.4] * 10)

    assert said == [
        "the press's clock is 5.0 min ahead of ours",
        "the press's clock is 60.0 min behind ours",
        "the press's clock agrees with ours again",
    ]


def test_a_backlog_that_is_worked_off_says_nothing_of_the_clock() -> None:
    assert told([3600.0 - 60.0 * n for n in range(60)])[1] == []


def test_too_few_shots_say_nothing() -> None:
    assert told([500.0] * (WINDOW - 1)) == (PressClock((500.0,) * (WINDOW - 1)), [])


def test_hours_are_said_as_hours() -> None:
    assert words(-3 * 3600.0) == "the press's clock is 3.0 h ahead of ours"
    assert words(FAR_S) == "the press's clock agrees with ours again"


def test_it_survives_the_store() -> None:
    known, _ = told([200.0] * 7)
    state = PressState(clock=known)

    assert load(json.loads(json.dumps(dump(state))), lambda _id: None).clock == known  # type: ignore[arg-type, return-value]
