"""What an alarm says besides its limits: data faults, other values, events before it, and calm shots.

Invented numbers; which fault goes with which pattern is common practice, no source.
"""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from collector.actions import alarms as alarm_actions
from collector.alarms import beside, happenings, normal
from collector.alarms.causes import SCATTERED, match, of_data
from collector.alarms.change import Change, earliest
from collector.alarms.diagnosis import NAMED_IN_TABLE
from collector.alarms.fault_table import DATA, FAULTS, like
from collector.alarms.headline import headline
from collector.alarms.model import Moved
from collector.clock import ServiceClock
from collector.contract import quantities
from collector.data_checks.look import Rule
from collector.store import alarms as alarm_store
from collector.store import database, doubts, events, presses, shots
from collector.store.tables import chart_restarts
from collector.store.types import to_micros
from tests.collector.alarms.floor import CYCLE, START, Floor
from tests.collector.pipelines import pipeline
from tests.collector.shots_in import message

RNG = np.random.default_rng(2)


def values(center: float, sigma: float, count: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    return center + sigma * RNG.standard_normal(count)


def test_a_value_that_is_not_charted_tells_by_its_direction() -> None:
    before = {"coolant_flow": values(8.0, 0.1, 100), "barrel_temperature.2": values(195.0, 0.4, 100)}
    recent = {"coolant_flow": values(5.0, 0.1, 10), "barrel_temperature.2": values(195.2, 0.4, 10)}
    assert beside.directions(before, recent) == {"barrel_temperature.2": 0, "coolant_flow": -1}


def test_scatter_is_told_apart_from_a_shift_and_few_values_tell_nothing() -> None:
    before = {"mold_open_time": values(8.0, 0.1, 100)}
    uneven = {"mold_open_time": np.array([6.5, 9.5] * 5)}
    assert beside.directions(before, uneven) == {"mold_open_time": SCATTERED}
    assert beside.directions({"cushion": values(6, 0.1, 5)}, {"cushion": values(2, 0.1, 10)}) == {}


def test_a_timer_that_was_turned_is_seen_and_a_last_digit_is_not() -> None:
    steady = {"cooling_time": np.full(50, 38.0), "cycle_time": np.full(50, 60.0)}
    now = {"cooling_time": np.full(5, 33.0), "cycle_time": np.full(5, 60.01)}
    assert beside.directions(steady, now) == {"cooling_time": -1, "cycle_time": 0}


def test_what_people_did_shortly_before_speaks_for_its_cause() -> None:
    seen = dict.fromkeys(("injection_time", "cycle_time", "cushion", "recovery_time"), 0)
    seen |= {"peak_melt_pressure": 1, "recovery_time": 1}
    told = match(seen, happenings={"lot"})[0]
    assert told.row == 1
    assert "new lot shortly before" in told.reason
    assert told.score > match(seen)[0].score


def test_an_alarm_of_the_recipe_does_not_call_unchanged_what_one_of_the_process_says_moved(
    engine: sa.Engine,
) -> None:
    floor = Floor(engine)
    floor.make(floor.steady(120))
    warm = 0.7 * np.ones(30)
    ids = floor.make(floor.steady(1, 2, mold_core_temperature=warm[:1]))
    floor.off_recipe(ids[-1], "cooling_time", 30.0)
    (recipe,) = floor.alarms()
    assert recipe.causes is not None
    assert "mold core temperature unchanged" in recipe.causes[0]["reason"]
    for start in range(1, 30):
        shot = floor.make(floor.steady(1, start, mold_core_temperature=warm[start : start + 1]))
        floor.off_recipe(shot[0], "cooling_time", 30.0)
    recipe, process = floor.alarms()
    assert (recipe.kind, process.kind) == ("recipe", "process")
    assert process.characteristics[0]["direction"] == 1
    assert recipe.causes is not None
    assert not any("mold core temperature unchanged" in each["reason"] for each in recipe.causes)
    assert "mold core temperature higher" in recipe.causes[0]["reason"]


def test_a_timer_that_nobody_set_is_not_called_set() -> None:
    seen = dict.fromkeys(("injection_time", "cushion", "peak_melt_pressure"), 0)
    seen |= {"cooling_time": -1, "cycle_time": -1}
    named = {cause.row: cause for cause in match(seen)}[14]
    assert named.borne_out
    found = match(seen, untouched={"cooling_time"})
    untouched = {cause.row: cause for cause in found}.get(14)
    assert untouched is None or "Does not fit: cooling time not set anew." in untouched.reason
    assert untouched is None or untouched.contradicted
    assert found[0].name != named.name or found[0].contradicted
    as_before = match(seen, happenings={"setpoint hold_time"}, untouched={"cooling_time"})
    assert as_before[0].row == 14
    assert "Does not fit" not in as_before[0].reason


def test_a_setpoint_is_untouched_where_it_is_reported_and_older_than_half_an_hour(engine: sa.Engine) -> None:
    floor = Floor(engine)
    ids = floor.make(floor.steady(60))  # a shot a minute
    set_at = {"cooling_time": START + timedelta(minutes=10), "hold_time": START + timedelta(minutes=20)}
    with database.write(engine) as conn:
        assert happenings.untouched(conn, floor.press.id, ids[45]) == set()
        times = {key: to_micros(at) for key, at in set_at.items()}
        presses.save_engine_state(conn, floor.press.id, {"setpoint_times": times}, last_shot_id=ids[-1])
        assert happenings.untouched(conn, floor.press.id, ids[45]) == {"cooling_time"}


def test_every_row_of_the_trade_has_its_row_here_and_groups_name_each_other() -> None:
    assert sorted(fault.row for fault in FAULTS) == list(range(1, 29))
    by_row = {fault.row: fault for fault in FAULTS}
    assert by_row[13].name in like(by_row[11])
    assert by_row[11].name in like(by_row[13])
    assert like(by_row[22]) == ()
    for fault in FAULTS:
        assert fault.group is None or like(fault), f"{fault.name} is alone in its group"


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: str(fault.row))
def test_a_fault_in_full_is_named_among_the_first_three_or_one_of_its_group_is(fault: Any) -> None:
    """Each row's own directions, as a press that reports everything would show them."""
    signs = {"+": 1, "-": -1, "+?": 1, "-?": -1, "=": 0, "~": SCATTERED}
    for pattern in fault.patterns:
        seen = dict.fromkeys(sorted(NAMED_IN_TABLE), 0) | {key: signs[sign] for key, sign in pattern.items()}
        named = match(seen, single=fault.tempo == ("single",), most=3)
        assert any(cause.row == fault.row or fault.name in cause.like for cause in named), pattern


def moved(key: str, how: Rule, before: float | None, after: float) -> Moved:
    return Moved(
        key=key, direction=0, before=before, after=after, unit=quantities.unit(key), share=0.0, shots=3,
        single=False, how=how,
    )  # fmt: skip


def test_every_doubt_has_its_checks_and_names_what_is_in_doubt() -> None:
    assert set(DATA) == set(Rule.__args__)  # type: ignore[attr-defined]
    (cause,) = of_data([moved("cushion", "stuck", None, 6.1), moved("coolant_flow", "stuck", None, 8.0)])
    assert cause.row == 27
    assert cause.reason == "In doubt: cushion, coolant flow."
    assert any("screen of the press" in check for check in cause.operator)


@pytest.mark.parametrize(
    ("item", "says"),
    [
        (moved("cushion", "stuck", None, 6.1), "Cushion stands still at 6.10 mm"),
        (moved("coolant_flow", "zero", 8.0, 0.0), "Coolant flow reads 0, usually 8.00 L/min"),
        (moved("peak_melt_pressure", "unit_jump", 74.2, 742.0),
         "Peak melt pressure reads 742.00 MPa, usually 74.20 MPa: another unit?"),
        (moved("mold_core_temperature", "implausible", 31.0, 3276.7),
         "Mold core temperature reads 3276.70 °C, which it cannot be"),
        (moved("injection_time", "coarse", None, 2.4), "Injection time comes in coarser steps"),
    ],
)  # fmt: skip
def test_a_doubt_reads_as_a_matter_of_the_data(item: Moved, says: str) -> None:
    assert headline("data", [item]) == says


def change(low: int, shot: int, high: int) -> Change:
    return Change(
        key="k", single=False, shot_id=shot, low_shot_id=low, high_shot_id=high, before=0.0, after=1.0
    )


def test_what_must_have_begun_first_dates_an_alarm_though_another_change_is_known_better() -> None:
    creeping, sharp = change(100, 130, 175), change(170, 172, 178)
    assert earliest([sharp, creeping]) is creeping


def readings(number: int, rng: np.random.Generator) -> dict[str, float]:
    return {
        "cushion": round(float(rng.normal(6.0, 0.1)), 3),
        "peak_melt_pressure": round(float(rng.normal(74.0, 0.4)), 2),
        "coolant_flow": round(float(rng.normal(8.0, 0.1)), 2),
    }


def test_values_in_doubt_open_one_alarm_of_the_data_that_holds_nothing_and_clears(engine: sa.Engine) -> None:
    rng, taker = np.random.default_rng(6), pipeline(engine)
    told = [readings(number, rng) for number in range(140)]
    for number in range(80, 120):
        told[number]["peak_melt_pressure"] *= 10
        told[number]["coolant_flow"] = 0.0
    taker.take([message(number, each, run="R-1") for number, each in enumerate(told[:110])])
    with database.read(engine) as conn:
        (alarm,) = alarm_store.unclosed(conn)
        assert conn.execute(sa.text("SELECT COUNT(*) FROM holds")).scalar() == 0
    assert alarm.kind == "data"
    assert alarm.headline.startswith("Peak melt pressure reads 7")
    assert alarm.causes is not None
    assert {cause["row"] for cause in alarm.causes} == {27}

    taker.take([message(number, each, run="R-1") for number, each in enumerate(told[110:], 110)])
    with database.read(engine) as conn:
        (alarm,) = alarm_store.unclosed(conn)
    assert alarm.state == "returned_unacknowledged"


def test_an_alarm_of_the_process_on_values_that_come_into_doubt_names_the_sensor(engine: sa.Engine) -> None:
    rng, taker = np.random.default_rng(9), pipeline(engine)
    told = [readings(number, rng) for number in range(120)]
    for each in told[80:]:
        each["cushion"] = 6.9  # stands still, far from where it was
    taker.take([message(number, each, run="R-1") for number, each in enumerate(told[:84])])
    with database.read(engine) as conn:
        (process,) = alarm_store.unclosed(conn)
    assert process.causes is not None
    assert process.causes[0]["row"] != 27

    for start in range(84, 120, 4):
        some = enumerate(told[start : start + 4], start)
        taker.take([message(number, each, run="R-1") for number, each in some])
    with database.read(engine) as conn:
        process, data = alarm_store.unclosed(conn)
        notes = [step.note for step in alarm_store.steps(conn, process.id)]
    assert (process.kind, data.kind) == ("process", "data")
    assert process.causes is not None
    assert process.causes[0]["row"] == 27
    assert notes.count("its values are in doubt: see the alarm of the data") == 1


def test_an_alarm_of_the_data_that_is_closed_while_it_goes_on_makes_its_values_usual(
    engine: sa.Engine,
) -> None:
    rng, taker = np.random.default_rng(8), pipeline(engine)
    told = [readings(number, rng) for number in range(140)]
    for each in told[80:]:
        each["coolant_flow"] = 0.0
    taker.take([message(number, each, run="R-1") for number, each in enumerate(told[:100])])
    with database.read(engine) as conn:
        (alarm,) = alarm_store.unclosed(conn)
    now = START + 100 * CYCLE
    clock = ServiceClock(wall_anchor=now, service_anchor=now, wall=lambda: now)
    alarm_actions.acknowledge(engine, alarm.id, who="technician 1", clock=clock)
    alarm_actions.close(engine, alarm.id, who="technician 1", clock=clock, cause="the pump really stands")

    taker.take([message(number, each, run="R-1") for number, each in enumerate(told[100:], 100)])
    with database.read(engine) as conn:
        kinds = [each.kind for each in alarm_store.unclosed(conn)]
        restarted = conn.execute(sa.select(chart_restarts.c.key)).scalars().all()
    assert restarted == ["coolant_flow"]
    assert kinds == ["process"]  # believed, they are what the press does


def test_doubted_values_are_kept_but_no_part_of_what_the_press_did(engine: sa.Engine) -> None:
    rng, taker = np.random.default_rng(7), pipeline(engine)
    told = [readings(number, rng) for number in range(60)]
    told[50]["cushion"] = 400.0
    taker.take([message(number, each, run="R-1") for number, each in enumerate(told)])
    with database.read(engine) as conn:
        frame = shots.values(conn, press_id=1, keys=["cushion"])
        clean = doubts.without_doubted(conn, frame, ["cushion"], press_id=1)

    assert frame["cushion"].iloc[50] == 400.0
    assert np.isnan(clean["cushion"].iloc[50])
    assert clean["cushion"].notna().sum() == 59


def test_events_of_the_half_hour_before_are_named_with_their_times(floor: Floor) -> None:
    ids = floor.make(floor.steady(60))
    at = START + 40 * CYCLE
    with database.write(floor.engine) as conn:
        new = [
            events.row(floor.press.id, "setpoint", at=at - timedelta(minutes=40), source="t", key="hold_time",
                       old=10.0, new=9.0),
            events.row(floor.press.id, "lot", at=at - timedelta(minutes=12), source="t", old="4463",
                       new="4471"),
            events.row(floor.press.id, "setpoint", at=at - timedelta(minutes=3), source="t",
                       key="cooling_time", old=38.0, new=33.0),
            events.row(floor.press.id, "tray", at=at - timedelta(minutes=2), source="t", new="44"),
        ]  # fmt: skip
        events.insert(conn, new)
        found = happenings.before(
            conn, floor.press.id, first_shot_id=ids[40], last_shot_id=ids[45]
        )

    assert [happenings.words(each, UTC) for each in found] == [
        "06:28 lot 4471 instead of 4463",
        "06:37 cooling time set from 38.00 s to 33.00 s",
    ]
    assert [each.name for each in found] == ["lot", "setpoint cooling_time"]


def test_a_shot_that_signals_nothing_is_to_be_left_alone(floor: Floor) -> None:
    (started,) = floor.make(floor.steady(1), phase="startup")
    calm = floor.make(floor.steady(20))[5]
    bad = floor.make(floor.steady(6, cushion=-2.0))[5]
    with database.read(floor.engine) as conn:
        assert normal.sentence(conn, started) == "Not judged: the press was starting up."
        said = normal.sentence(conn, calm)
        assert said is not None
        assert said.startswith("Inside normal variation")
        assert "Leave the settings alone" in said
        assert normal.sentence(conn, bad) is None
        assert normal.sentence(conn, 10_000) is None
