"""What is silent, from facts alone. Thresholds are settings; one cause is one alarm.

One alarm for one abnormal condition: IEC 62682:2022, rationalization (from memory). That a gateway is
suspected when all its presses fall silent together is common practice, no source.
"""

from __future__ import annotations

from typing import Any

import pytest

from collector.alarms.lifecycle import EVENTS, Stage, may, step
from collector.alarms.silence import Facts, JobFacts, PressFacts, Verdict, connection, verdicts
from collector.alarms.silence_apply import events_for
from collector.settings_alarms import Alarms

CYCLE_S = 60.0
SETTINGS = Alarms(silent_cycles=10, gateway_cycles=5, silent_least_s=100, silent_cycles_of={"P9": 50})


def press(name: str = "P1", **changes: Any) -> PressFacts:
    fields: dict[str, Any] = {
        "id": int(name[1:]), "name": name, "running": True, "state": "automatic", "usual_cycle_s": CYCLE_S,
        "quiet_s": 0.0, "heard": True,
    }  # fmt: skip
    return PressFacts(**(fields | changes))


def silent(*presses: PressFacts, **facts: Any) -> list[str]:
    """The headlines of what is silent."""
    found = verdicts(Facts(presses=presses, **({"settings": SETTINGS} | facts)))
    return [each.headline for each in found if each.says == "silent"]


def says(*presses: PressFacts, **facts: Any) -> dict[tuple[str, int | None], str]:
    found = verdicts(Facts(presses=presses, **({"settings": SETTINGS} | facts)))
    return {(each.subject, each.press_id): each.says for each in found}


@pytest.mark.parametrize(
    ("name", "changes", "is_silent"),
    [
        ("P1", {"quiet_s": 10 * CYCLE_S}, False),
        ("P1", {"quiet_s": 10 * CYCLE_S + 1}, True),
        ("P1", {"quiet_s": 99, "usual_cycle_s": 5.0}, False),  # ten cycles, but not the least
        ("P1", {"quiet_s": 101, "usual_cycle_s": 5.0}, True),
        ("P1", {"quiet_s": 601, "usual_cycle_s": None}, True),
        ("P9", {"quiet_s": 40 * CYCLE_S}, False),  # has a threshold of its own
        ("P9", {"quiet_s": 51 * CYCLE_S}, True),
        ("P1", {"quiet_s": 9e9, "running": False}, False),
        ("P1", {"quiet_s": 3 * CYCLE_S, "state": "offline"}, True),  # the last will leaves no doubt
        ("P1", {"quiet_s": 1 * CYCLE_S, "state": "offline"}, False),
    ],
)
def test_each_press_has_its_threshold_in_its_own_cycles(
    name: str, changes: dict[str, Any], is_silent: bool
) -> None:
    assert bool(silent(press(name, **changes))) is is_silent


@pytest.mark.parametrize("state", ["stopped", "setup", "sleep", "manual"])
def test_a_press_that_says_it_stands_is_silent_by_design(state: str) -> None:
    assert says(press(quiet_s=9_000, state=state))["press", 1] == "standing"


def test_a_gateway_is_one_alarm_and_not_one_for_each_press() -> None:
    down = [press(name, quiet_s=6 * CYCLE_S) for name in ("P1", "P2", "P3")]
    assert silent(*down) == ["All presses are silent: P1, P2, P3"]
    longer = [press(name, quiet_s=60 * CYCLE_S) for name in ("P1", "P2", "P3")]
    assert silent(*longer) == ["All presses are silent: P1, P2, P3"]
    assert says(*longer)["press", 2] == "heard"  # its own alarm, if any, is over: it is one matter


def test_gateways_are_told_apart_by_the_settings() -> None:
    settings = SETTINGS.model_copy(update={"gateways": {"hall": ("P1", "P2")}})
    floor = [press("P1", quiet_s=900), press("P2", quiet_s=900), press("P3"), press("P4")]
    assert silent(*floor, settings=settings) == ["All presses behind gateway hall are silent: P1, P2"]
    assert silent(*floor) == ["No shot for 15 min: look at the press first"] * 2


def test_one_press_that_runs_clears_its_gateway_and_the_others_are_silent_themselves() -> None:
    floor = [press("P1", quiet_s=900), press("P2", quiet_s=900), press("P3")]
    found = says(*floor)
    assert found["gateway:", None] == "heard"
    assert (found["press", 1], found["press", 2], found["press", 3]) == ("silent", "silent", "heard")


def test_one_press_alone_is_no_gateway() -> None:
    assert silent(press("P1", quiet_s=900)) == ["No shot for 15 min: look at the press first"]
    idle = press("P2", quiet_s=9_000, running=False)
    assert silent(press("P1", quiet_s=900), idle) == ["No shot for 15 min: look at the press first"]


def test_nothing_is_known_of_presses_while_the_broker_is_away() -> None:
    assert says(press(quiet_s=9_000), press("P2"), broker_away=True) == {}


def test_after_a_start_nothing_is_known_until_a_shot_comes_or_its_time_is_over() -> None:
    """A collector that starts after an hour must neither call for every press nor clear what is silent."""
    just = press(quiet_s=5.0, heard=False)
    assert ("press", 1) not in says(just, press("P2", quiet_s=5.0, heard=False))
    assert says(press(quiet_s=5.0, heard=True))["press", 1] == "heard"


@pytest.mark.parametrize(
    ("away_s", "problem", "expected"),
    [(0.0, None, "heard"), (29.0, "refused", None), (31.0, "refused", "silent")],
)
def test_a_connection_is_judged_by_its_own_time(
    away_s: float, problem: str | None, expected: str | None
) -> None:
    found = connection("broker", "box", away_s=away_s, problem=problem, settings=SETTINGS)
    assert (found.says if found else None) == expected
    if expected == "silent":
        assert found is not None
        assert found.headline == "No connection to the broker from box: refused"


def test_what_the_connection_says_itself_is_not_said_twice() -> None:
    problem = "no connection to the broker at 127.0.0.1:1883: nothing listens there"
    found = connection("broker", "box", away_s=31.0, problem=problem, settings=SETTINGS)
    assert found is not None
    assert found.headline == "No connection to the broker from box at 127.0.0.1:1883: nothing listens there"


def test_an_overdue_job_is_named() -> None:
    assert silent(jobs=[JobFacts(name="backup", late_s=7200.0)]) == [
        "The job backup is overdue by 2 h: see the log of the collector"
    ]
    assert silent(jobs=[JobFacts(name="backup", late_s=0.0)]) == []


def test_a_verdict_asks_only_for_what_the_life_of_an_alarm_permits() -> None:
    """Over every stage that an alarm can be in, and so for clocks, restarts and people in any order."""
    reachable, waiting = set[Stage](), [Stage()]
    while waiting:
        stage = waiting.pop()
        if stage not in reachable and not stage.closed and not stage.holding:
            reachable.add(stage)
            waiting += [step(stage, event) for event in EVENTS if may(stage, event)]
    for stage in reachable:
        for word in ("silent", "standing", "heard"):
            after = stage
            for event in events_for(Verdict(subject="press", press_id=1, says=word), stage):  # type: ignore[arg-type]
                after = step(after, event)
            assert after.active is (word == "silent" or (word == "standing" and stage.active))
