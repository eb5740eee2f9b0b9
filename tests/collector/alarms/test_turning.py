"""An alarm whose characteristic goes to the other side of its level, on series that carry their truth."""

from __future__ import annotations

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.alarms.change import Change, Series, judge
from collector.alarms.turning import turned
from collector.store import database, tables
from rules.charts.cusum import CusumChart
from tests.collector.alarms.floor import Floor
from tests.collector.alarms.test_apply import _qualify
from tests.collector.alarms.test_change import BASELINE, noise
from tests.collector.alarms.test_change import series as silent_series

BEGAN, TURNED = 60, 110


def turn_of(x, far_out=frozenset()) -> int | None:
    """What is said of values that a real CUSUM has judged; from 0 like the array."""
    found = CusumChart(center=6.0, sigma=0.1, h=8.0).run(x)[1]
    signals = {int(index): int(found.direction[index]) for index, _ in found.signals}
    plain = silent_series(x, set(far_out), signaled=set(signals))
    one = type(plain)(
        key=plain.key, shot_ids=plain.shot_ids, x=x, baseline=BASELINE, signaled=plain.signaled,
        far_out=plain.far_out, upward=tuple(1_000 + i for i, side in sorted(signals.items()) if side > 0),
        downward=tuple(1_000 + i for i, side in sorted(signals.items()) if side < 0),
    )  # fmt: skip
    shot = turned(one, judge(one))
    return None if shot is None else shot - 1_000


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("seed", [5, 6, 7])
def test_the_shot_at_which_it_turned_is_near_the_true_one(side: float, seed: int) -> None:
    x = noise(160, seed)
    x[BEGAN:TURNED] += 0.3 * side
    x[TURNED:] -= 0.3 * side
    found = turn_of(x)
    assert found is not None
    assert abs(found - TURNED) <= 3


def test_between_two_sides_it_may_have_been_as_usual_for_a_while() -> None:
    """It is dated from when it went lower, not from when it came back."""
    x = noise(200)
    x[BEGAN:90] += 0.3
    x[130:] -= 0.3
    found = turn_of(x)
    assert found is not None
    assert abs(found - 130) <= 3


def test_of_several_turns_the_last_is_told() -> None:
    x = noise(260)
    x[BEGAN:TURNED] += 0.3
    x[TURNED:160] -= 0.3
    x[160:] += 0.3
    found = turn_of(x)
    assert found is not None
    assert abs(found - 160) <= 3


def test_what_stays_on_its_side_did_not_turn() -> None:
    x = noise(160)
    x[BEGAN:] += 0.3
    assert turn_of(x) is None


def test_one_bad_shot_on_the_other_side_is_no_turn() -> None:
    x = noise(160)
    x[BEGAN:] += 0.2
    x[120] = 4.0
    assert turn_of(x, {120}) is None
    x[20:60], x[25], x[120] = noise(40, 9), 4.0, 6.2
    assert turn_of(x, {25}) is None


@settings(deadline=None, max_examples=300)
@given(
    up=st.sets(st.integers(990, 1_030), max_size=12), down=st.sets(st.integers(990, 1_030), max_size=12),
    gone=st.sets(st.integers(0, 24), max_size=20), seed=st.integers(0, 9),
)  # fmt: skip
def test_whatever_signaled_and_whichever_values_were_taken_back_there_is_an_answer(
    up: set[int], down: set[int], gone: set[int], seed: int
) -> None:
    """A correction takes values away, and long alarms have signals from before the values that are read."""
    x = np.delete(noise(25, seed), sorted(gone))
    both = tuple(sorted(up | down)) or (1_024,)
    one = Series(
        key="cushion", shot_ids=np.delete(np.arange(1_000, 1_025), sorted(gone)), x=x, baseline=BASELINE,
        signaled=both, far_out=frozenset(), upward=tuple(sorted(up)), downward=tuple(sorted(down)),
    )  # fmt: skip
    level = Change(
        key="cushion", single=False, shot_id=1_000, low_shot_id=1_000, high_shot_id=1_000, before=6.0,
        after=6.0 + (seed - 4.5) / 10,
    )  # fmt: skip
    found = turned(one, level)
    assert found is None or found in one.shot_ids


@pytest.fixture
def turned_floor(floor: Floor) -> Floor:
    """Warmer for 80 shots, then cooler for 20, a batch a shot as a press sends them."""
    floor.make(floor.steady(120))
    floor.make(floor.steady(80, 2, mold_core_temperature=0.6), batch=1)
    assert floor.alarm().headline.endswith(" °C warmer")
    floor.make(floor.steady(20, 3, mold_core_temperature=-0.6), batch=1)
    return floor


def test_an_alarm_that_turned_says_so_and_keeps_its_date(turned_floor: Floor) -> None:
    alarm = turned_floor.alarm()
    assert alarm.headline.startswith("Mold core 0.")
    assert alarm.headline.endswith(" °C cooler, warmer before")
    assert alarm.change_shot_id == pytest.approx(121, abs=5)  # the discs since then are in question
    assert alarm.characteristics[0]["turned_shot_id"] == pytest.approx(201, abs=3)


def test_the_turn_is_one_step_and_is_sent(turned_floor: Floor) -> None:
    turns = [step for step in turned_floor.rows("alarm_steps") if step["event"] == "turn"]
    assert len(turns) == 1
    assert turns[0]["note"].endswith(" cooler, warmer before")
    sent = [row["payload"] for row in turned_floor.rows("outbox") if row["channel"] == "mqtt"]
    assert "cooler, warmer before" in sent[-1]


def test_one_that_turns_back_says_it_again(turned_floor: Floor) -> None:
    turned_floor.make(turned_floor.steady(20, 4, mold_core_temperature=0.6), batch=1)
    turns = [step["note"] for step in turned_floor.rows("alarm_steps") if step["event"] == "turn"]
    assert [note.split(" °C ")[1] for note in turns] == ["cooler, warmer before", "warmer, cooler before"]


def test_another_setpoint_outside_the_recipe_is_said_at_once(floor: Floor) -> None:
    ids = floor.make(floor.steady(30))
    with database.write(floor.engine) as conn:
        _qualify(conn, floor, {"cooling_time": {"setpoint": 45.0, "allowed": 0.5}})
    for shot_id in ids[:10]:
        floor.off_recipe(shot_id, "cooling_time", 36.0)
    floor.off_recipe(ids[10], "cooling_time", 50.0)
    assert floor.alarm().headline == "Cooling time 50.00 s instead of 45.00 s"


def test_what_was_stored_before_turns_were_known_is_read(turned_floor: Floor) -> None:
    """Alarms of an earlier version have no such field."""
    old = [{k: v for k, v in item.items() if k != "turned_shot_id"} for item in
           turned_floor.alarm().characteristics]  # fmt: skip
    with database.write(turned_floor.engine) as conn:
        conn.execute(sa.update(tables.alarms).values(characteristics=old))
    turned_floor.make(turned_floor.steady(1, 5, mold_core_temperature=-0.6))
    assert turned_floor.alarm().state == "active_unacknowledged"
