"""What stands on the time axis of a press besides its shots, and what must not. On both databases.

That a broker hands a message over again, and a retained one at every connection, is MQTT 5.0 sections 3.3.1
and 4.4.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import sqlalchemy as sa

from collector import replay
from collector.clock import ServiceClock
from collector.contract.policy import Policy as Intake
from collector.pipeline import Pipeline
from collector.sources.incoming import Incoming
from collector.store import database, gaps
from collector.store.tables import counter_gaps, engine_states, events, presses, runs, shots
from collector.verdict import Policy
from tests.collector.pipelines import POLICY, messages, pipeline, rows, told, told_of, topic_message
from tests.collector.shots_in import START, cushions, message


def told_at(kind: str, minute: float, **body: Any) -> Incoming:
    return topic_message(kind, at=(START + timedelta(minutes=minute)).isoformat(), **body)


def kinds(engine: sa.Engine) -> list[str]:
    return [str(row[0]) for row in rows(engine, events.c.kind)]


def test_every_kind_of_event_stands_on_the_time_axis_with_its_first_shot(engine: sa.Engine) -> None:
    batch = messages(cushions(40))
    pipeline(engine).take([
        told_at("run", -1, action="open", run="R-1", lot="4463"), told_at("state", -1, state="setup"),
        told_at("tray", -1, tray="41"), told_at("setpoints", -1, setpoints={"hold_time": 5.0}), *batch[:20],
        told_at("setpoints", 19.5, setpoints={"hold_time": 6.0}),
        told_at("run", 19.5, action="open", run="R-1", lot="4471"),
        told_at("tray", 19.5, tray="42"), told_at("state", 19.5, state="automatic", reason="door closed"),
        *batch[20:25], *batch[27:30], message(60, {"cushion": 6.0}), message(61, {"cushion": 6.0}, counter=3),
    ])  # fmt: skip

    with database.read(engine) as conn:
        found = conn.execute(
            sa.select(events.c.kind, events.c.old, events.c.new, shots.c.counter)
            .join(shots, shots.c.id == events.c.shot_id)
            .order_by(events.c.id)
        ).all()
    said = [tuple(row) for row in found if row.kind not in ("chart_restart", "limits")]
    assert said == [
        ("run", None, "R-1", 1000), ("state", None, "setup", 1000), ("tray", None, "41", 1000),
        ("setpoint", 5.0, 6.0, 1020), ("lot", "4463", "4471", 1020), ("tray", None, "42", 1020),
        ("state", "setup", "automatic", 1020), ("gap", 1024, 1027, 1027), ("gap", 1029, 1060, 1060),
        ("epoch", 1060, 3, 3),
    ]


def test_a_pause_of_many_cycles_is_a_stop(engine: sa.Engine) -> None:
    batch = [message(n, {"cushion": 6.0}, counter=n) for n in range(1, 12)]
    later = message(90, {"cushion": 6.0}, counter=12)

    pipeline(engine).take([*batch, later])

    assert [(row[0], row[1]) for row in rows(engine, events.c.kind, events.c.new) if row[0] == "stop"] == [
        ("stop", 79 * 60.0)
    ]


def test_setpoints_that_the_broker_hands_over_again_make_no_change(engine: sa.Engine) -> None:
    a = told_at("setpoints", 5.5, setpoints={"hold_time": 5.0})
    b = told_at("setpoints", 10.5, setpoints={"hold_time": 6.0})
    batch = messages(cushions(40))
    taker = pipeline(engine)
    taker.take([*batch[:6], a, *batch[6:11], b, *batch[11:20]])

    taker.take([a, b, *batch[20:30]])
    pipeline(engine).take([a, *batch[30:]])

    changes = setpoint_changes(engine)
    assert changes == [(5.0, 6.0)]
    assert state_of(engine)["setpoints"] == {"hold_time": 6.0}


def setpoint_changes(engine: sa.Engine) -> list[tuple[object, ...]]:
    found = rows(engine, events.c.kind, events.c.old, events.c.new)
    return [row[1:] for row in found if row[0] == "setpoint"]


def state_of(engine: sa.Engine) -> dict[str, Any]:
    with database.read(engine) as conn:
        found: dict[str, Any] = conn.execute(sa.select(engine_states.c.state)).scalar_one()
    return found


def test_an_older_message_still_tells_a_setpoint_that_nobody_told(engine: sa.Engine) -> None:
    taker = pipeline(engine)
    taker.take([message(1, {"cushion": 6.0}), told_at("setpoints", 9, setpoints={"hold_time": 6.0})])

    taker.take([told_at("setpoints", 3, setpoints={"cooling_time": 38.0, "hold_time": 5.0})])

    assert state_of(engine)["setpoints"] == {"hold_time": 6.0, "cooling_time": 38.0}


def test_setpoints_told_before_the_first_shot_of_a_run_are_held_against_its_recipe(engine: sa.Engine) -> None:
    """A retained message comes at the connection, before any shot names its run."""
    taker = pipeline(engine)
    before = told_at("setpoints", -1, setpoints={"hold_time": 5.0})
    taker.take([before, message(0, {"cushion": 6.0}, run="R-1")])

    assert state_of(engine)["setpoints"] == {"hold_time": 5.0}
    assert "setpoint" not in kinds(engine)


def test_the_setup_of_the_next_run_is_no_change_of_setpoints(engine: sa.Engine) -> None:
    first = [message(n, {"cushion": 6.0}, run="R-1", setpoints={"hold_time": 5.0}) for n in range(5)]
    second = [message(n, {"cushion": 6.0}, run="R-2", setpoints={"hold_time": 8.0}) for n in range(5, 9)]
    changed = message(9, {"cushion": 6.0}, run="R-2", setpoints={"hold_time": 9.0})

    pipeline(engine).take([*first, *second, changed])

    changes = setpoint_changes(engine)
    assert changes == [(8.0, 9.0)]


def test_several_late_shots_in_a_batch_replay_their_run_once(
    engine: sa.Engine, monkeypatch: Any
) -> None:
    values = cushions(160, shift=2.0, shift_from=100)
    batch = messages(values)
    late = [batch.pop(place) for place in (120, 104, 103, 50)]
    replayed: list[str] = []
    real = replay.replay

    def counted(*arguments: Any, **more: Any) -> Any:
        replayed.append(more["why"])
        return real(*arguments, **more)

    monkeypatch.setattr(replay, "replay", counted)
    taker = pipeline(engine)
    taker.take(batch[:130])

    assert taker.take([*late, *batch[130:]]).late == 4
    assert replayed == ["shot 1050 arrived late from mqtt, and 3 more shots"]
    assert told(engine) == told_of(messages(values))


def test_shots_that_overtook_one_another_are_no_late_ones(engine: sa.Engine) -> None:
    batch = messages(cushions(100, shift=3.0, shift_from=60))
    swapped = [batch[place ^ 1] for place in range(100)]

    counts = pipeline(engine).take(swapped)

    assert (counts.stored, counts.late) == (100, 0)
    assert told(engine) == told_of(batch)
    assert "gap" not in kinds(engine)


def test_a_gap_shrinks_with_every_late_shot_and_closes_with_the_last(engine: sa.Engine) -> None:
    batch = messages(cushions(30))
    taker = pipeline(engine)
    taker.take([*batch[:10], *batch[13:]])

    taker.take([batch[11], batch[11]])
    assert rows(engine, counter_gaps.c.missing, counter_gaps.c.closed_at) == [(2, None)]
    assert notes(engine) == ["2 of 3 shots never arrived"]

    taker.take([batch[12], batch[10]])
    assert rows(engine, counter_gaps.c.missing)[0] == (0,)
    assert notes(engine) == ["3 shots came late"]
    with database.read(engine) as conn:
        assert gaps.listed(conn) == []


def notes(engine: sa.Engine) -> list[object]:
    return [row[1] for row in rows(engine, events.c.kind, events.c.note) if row[0] in ("gap", "late")]


def test_gaps_of_two_epochs_are_told_apart(engine: sa.Engine) -> None:
    first = [message(n, {"cushion": 6.0}, counter=n) for n in range(1, 20) if n != 5]
    second = [message(30 + n, {"cushion": 6.0}, counter=n) for n in range(1, 20) if n != 5]
    taker = pipeline(engine)
    taker.take([*first, *second])

    taker.take([message(35, {"cushion": 6.0}, counter=5)])

    with database.read(engine) as conn:
        assert [(gap.epoch, gap.missing) for gap in gaps.listed(conn, closed=True)] == [(0, 1), (1, 0)]


def test_a_press_whose_clock_is_far_off_is_told_of_and_loses_nothing(engine: sa.Engine) -> None:
    """Its clock is set back by an hour at shot 20: the counter goes on, so the shots do."""
    now = [START]
    clock = ServiceClock(wall_anchor=START, service_anchor=START, wall=lambda: now[0])
    taker = Pipeline(engine, policy=POLICY, intake=Intake(), clock=clock, wall=lambda: now[0])
    for number in range(40):
        now[0] = START + timedelta(minutes=number)
        ended_at = now[0] - timedelta(hours=1) if number >= 20 else now[0]
        taker.take([message(number, {"cushion": 6.0 + 0.01 * (number % 3)}, ended_at=ended_at.isoformat())])

    assert [row[0] for row in rows(engine, shots.c.counter)] == list(range(1000, 1040))
    assert {row[0] for row in rows(engine, shots.c.epoch)} == {0}
    said = [row[1] for row in rows(engine, events.c.kind, events.c.note) if row[0] == "clock"]
    assert said == ["the press's clock is 60.0 min behind ours"]
    [(heard_at, behind_s)] = rows(engine, presses.c.heard_at, presses.c.clock_behind_s)
    assert (heard_at, behind_s) == (now[0], 3600.0)
    assert "stop" not in kinds(engine)


def test_a_clock_set_back_after_a_counter_restart_keeps_its_epoch(engine: sa.Engine) -> None:
    first = [message(n, {"cushion": 6.0}) for n in range(10)]
    second = [message(n, {"cushion": 6.0}, counter=n) for n in range(10, 20)]
    back = [
        message(n, {"cushion": 6.0}, counter=n, ended_at=(START + timedelta(minutes=n - 15)).isoformat())
        for n in range(20, 30)
    ]

    counts = pipeline(engine).take([*first, *second, *back])

    assert (counts.stored, counts.late) == (30, 0)
    assert [row[0] for row in rows(engine, shots.c.epoch)] == [0] * 10 + [1] * 20


def test_a_press_without_a_counter_whose_clock_is_set_back_loses_no_shot(engine: sa.Engine) -> None:
    """Every time of the second hour is one of the first, to the second."""
    hour = [
        message(n % 60, {"cushion": 6.0 + n / 100, "part_weight": 174.0 + n}, counter=None)
        for n in range(120)
    ]
    taker = pipeline(engine)
    for each in hour:
        taker.take([each])

    counts = taker.take(hour[60:])

    assert len(rows(engine, shots.c.id)) == 120
    assert counts.amended == 0
    assert sorted(row[0]["part_weight"] for row in rows(engine, shots.c.characteristics)) == [  # type: ignore[index]
        174.0 + n for n in range(120)
    ]


def test_another_mold_opens_another_run_that_says_why(engine: sa.Engine) -> None:
    batch = [message(n, {"cushion": 6.0}, mold="Larch 5" if n < 6 else "Rowan 7") for n in range(12)]

    pipeline(engine).take(batch)

    found = rows(engine, runs.c.mold, runs.c.opened_by, runs.c.closed_at)
    assert [row[:2] for row in found] == [("Larch 5", "inferred"), ("Rowan 7", "inferred")]
    assert [row[2] is None for row in found] == [False, True]
    assert run_notes(engine) == [
        "inferred: shots came and nobody had named a run",
        "inferred: the mold changed from Larch 5 to Rowan 7",
    ]


def run_notes(engine: sa.Engine) -> list[object]:
    return [row[1] for row in rows(engine, events.c.kind, events.c.note) if row[0] == "run"]


def test_the_mold_that_a_shot_tells_describes_a_run_that_has_none(engine: sa.Engine) -> None:
    opened = told_at("run", -1, action="open", run="R-1")

    pipeline(engine).take([opened, *(message(n, {"cushion": 6.0}, mold="Larch 5") for n in range(3))])

    assert rows(engine, runs.c.name, runs.c.mold) == [("R-1", "Larch 5")]


def test_a_long_stop_ends_a_run_that_was_inferred_and_no_other(engine: sa.Engine) -> None:
    policy = Policy(vital=frozenset({"cushion"}), new_run_after_stop_h=4.0)
    clock = ServiceClock(
        wall_anchor=START, service_anchor=START, wall=lambda: START + timedelta(days=2)
    )
    taker = Pipeline(engine, policy=policy, intake=Intake(), clock=clock)
    taker.take([message(n, {"cushion": 6.0}) for n in (0, 1, 2, 200, 201)])
    assert len(rows(engine, runs.c.id)) == 1, "200 minutes are no long stop"

    taker.take([message(n, {"cushion": 6.0}) for n in (500, 501)])
    assert run_notes(engine)[1] == "inferred: no shot for more than 4 h"

    named = told_at("run", 501.5, action="open", run="R-1")
    taker.take([named, message(502, {"cushion": 6.0}), message(1000, {"cushion": 6.0})])
    assert [row[0] for row in rows(engine, runs.c.opened_by)] == ["inferred", "inferred", "message"]
