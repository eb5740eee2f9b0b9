"""Batches into a store: once each, in one transaction, acknowledged after it. On both databases."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from functools import partial

import pytest
import sqlalchemy as sa

from collector import press_work
from collector.clock import ServiceClock
from collector.contract.policy import Policy as Intake
from collector.errors import StoreUnavailable
from collector.pipeline import Pipeline
from collector.sources.incoming import Incoming
from collector.store import database, refusals
from collector.store.shots import broken_digests
from collector.store.tables import (
    alarms,
    amendments,
    engine_states,
    events,
    holds,
    outbox,
    runs,
    shots,
    signals,
)
from tests.collector.pipelines import (
    NOW,
    POLICY,
    messages,
    pipeline,
    rows,
    told,
    told_in_one_batch,
    topic_message,
)
from tests.collector.shots_in import START, cushions, message


def test_shots_are_stored_charted_and_alarmed(engine: sa.Engine) -> None:
    counts = pipeline(engine).take(messages(cushions(150, shift=4.0, shift_from=100)))

    assert counts.stored == 150
    assert {row[0] for row in rows(engine, shots.c.phase)} == {"startup", "baseline", "charted"}
    [(state, first, change)] = rows(
        engine, alarms.c.state, alarms.c.first_shot_id, alarms.c.change_shot_id
    )
    assert state == "active_unacknowledged"
    assert abs(int(str(change)) - 101) <= 2  # ids count from 1, the shift is at index 100
    assert int(str(first)) >= 101
    assert len(rows(engine, holds.c.id)) == 1
    assert {row[0] for row in rows(engine, outbox.c.channel)} == {"mqtt", "log"}


def test_a_change_is_dated_by_the_charts_of_its_time_though_they_start_anew_in_the_same_batch(
    engine: sa.Engine,
) -> None:
    batch = [
        message(n, {"cushion": value}, setpoints={"cooling_time": 38.0 if n < 130 else 39.0})
        for n, value in enumerate(cushions(160, shift=4.0, shift_from=100))
    ]
    pipeline(engine).take(batch)

    [(change, low)] = rows(engine, alarms.c.change_shot_id, alarms.c.change_low_shot_id)
    assert abs(int(str(change)) - 101) <= 2
    assert abs(int(str(low)) - 101) <= 4


def test_any_cut_into_batches_tells_the_same(engine: sa.Engine) -> None:
    values = cushions(150, shift=3.0, shift_from=90)
    batch = messages(values)
    for start, stop in ((0, 37), (37, 38), (38, 120), (120, 150)):
        pipeline(engine).take(batch[start:stop])  # a new one each time: it goes on from committed states

    stored = told(engine)
    with database.write(engine) as conn:
        shares = conn.execute(sa.select(shots.c.share).order_by(shots.c.counter)).scalars().all()
    assert stored == told_in_one_batch(values)
    assert len(shares) == 150


def test_an_event_whose_first_shot_comes_in_a_later_batch_gets_it_then(engine: sa.Engine) -> None:
    run_message = topic_message("run", action="open", at=START.isoformat(), run="R-1")
    taker = pipeline(engine)
    taker.take([run_message])
    assert rows(engine, events.c.shot_id) == [(None,)]

    taker.take([message(1, {"cushion": 6.0}), message(2, {"cushion": 6.0})])

    assert rows(engine, events.c.kind, events.c.shot_id) == [("run", 1)]


@pytest.mark.parametrize("size", [1, 7])
def test_tray_messages_between_shots_do_not_matter_to_the_charts(engine: sa.Engine, size: int) -> None:
    values = cushions(150, shift=3.0, shift_from=90)
    batch: list[Incoming] = []
    for number, each in enumerate(messages(values)):
        if number % 5 == 0:
            batch.append(topic_message("tray", at=START.isoformat(), tray=str(number), position=1))
        batch.append(each)
    taker = pipeline(engine)
    for start in range(0, len(batch), size):
        taker.take(batch[start : start + size])

    assert told(engine) == told_in_one_batch(values)
    assert [row[0] for row in rows(engine, shots.c.tray)][3:7] == ["0", "0", "5", "5"]
    with database.read(engine) as conn:
        joined = sa.select(shots.c.counter).join(events, events.c.shot_id == shots.c.id)
        first_shots = conn.execute(joined.where(events.c.kind == "tray")).scalars()
        assert sorted(first_shots) == [1000 + number for number in range(0, 150, 5)]


def test_a_message_that_comes_again_changes_nothing(engine: sa.Engine) -> None:
    batch = messages(cushions(60))
    pipeline(engine).take(batch)
    before = rows(engine, shots.c.id, shots.c.digest, shots.c.share)

    counts = pipeline(engine).take(batch[20:])

    assert (counts.stored, counts.duplicates) == (0, 40)
    assert rows(engine, shots.c.id, shots.c.digest, shots.c.share) == before


def test_the_same_shot_twice_in_one_batch_is_stored_once(engine: sa.Engine) -> None:
    batch = messages(cushions(3))

    counts = pipeline(engine).take([*batch, batch[1], batch[2]])

    assert (counts.stored, counts.duplicates) == (3, 2)


def test_a_late_shot_gives_the_signals_of_the_right_order(engine: sa.Engine) -> None:
    values = cushions(150, shift=2.0, shift_from=100)
    batch = messages(values)
    straggler = batch.pop(104)
    taker = pipeline(engine)
    taker.take(batch)

    counts = taker.take([straggler])

    assert counts.late == 1
    assert told(engine) == told_in_one_batch(values)
    changed = [row[0] for row in rows(engine, signals.c.changed) if row[0] is not None]
    assert changed
    assert all("arrived late" in str(reason) for reason in changed)


def test_after_a_late_shot_the_charts_go_on_from_the_right_state(engine: sa.Engine) -> None:
    values = cushions(200, shift=2.0, shift_from=130)
    batch = messages(values)
    early, late, rest = batch[:120], batch[104], batch[120:]
    taker = pipeline(engine)
    taker.take([each for each in early if each is not late])
    taker.take([late])
    taker.take(rest)

    assert told(engine) == told_in_one_batch(values)


def test_a_corrected_value_is_an_amendment_with_history(engine: sa.Engine) -> None:
    taker = pipeline(engine)
    taker.take(messages(cushions(60)))

    counts = taker.take([message(50, {"cushion": 9.0, "part_weight": 174.1})])

    assert counts.amended == 1
    [(before, after)] = rows(engine, amendments.c.before, amendments.c.after)
    assert before["characteristics"] != after["characteristics"]  # type: ignore[index]
    assert after["characteristics"]["cushion"] == 9.0  # type: ignore[index]
    assert told(engine)[0][0] == 1050
    with database.read(engine) as conn:
        assert broken_digests(conn) == []


def test_a_second_source_that_rounds_is_no_amendment(engine: sa.Engine) -> None:
    taker = pipeline(engine)
    taker.take([message(1, {"cushion": 6.0123})])

    counts = taker.take([message(1, {"cushion": 6.01})])

    assert (counts.duplicates, counts.amended) == (1, 0)


def test_a_counter_that_falls_opens_an_epoch_and_loses_nothing(engine: sa.Engine) -> None:
    batch = messages(cushions(20))
    renumbered = [message(20 + n, {"cushion": 6.0}, counter=n) for n in range(1, 6)]

    counts = pipeline(engine).take([*batch, *renumbered])

    assert counts.stored == 25
    assert {row[0] for row in rows(engine, shots.c.epoch)} == {0, 1}


def test_missing_counters_are_listed_as_a_gap(engine: sa.Engine) -> None:
    batch = messages(cushions(30))

    pipeline(engine).take(batch[:10] + batch[14:])

    gaps = [row for row in rows(engine, events.c.kind, events.c.note) if row[0] == "gap"]
    assert gaps == [("gap", "4 shots never arrived")]


GOOD = '{"press":"P1","counter":1,"ended_at":"2026-11-02T06:00:00Z","values":{"cushion":6}}'
BAD = {
    "broken JSON": (b'{"press": "P1", ', "not_json"),
    "wrong type": (GOOD.replace(":1,", ':"x",').encode(), "wrong_type"),
    "NaN": (GOOD.replace(":6}", ":NaN}").encode(), "not_finite"),
    "infinity": (GOOD.replace(":6}", ":1e999}").encode(), "not_finite"),
    "unknown unit": (GOOD.replace(":6}}", ':6},"units":{"cushion":"ell"}}').encode(), "unknown_unit"),
    "absurd time": (GOOD.replace("2026", "2126").encode(), "absurd_time"),
    "oversized": (b'{"press":"P1","x":"' + b"x" * 70_000 + b'"}', "too_large"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_read_is_kept_with_its_reason_and_stops_nothing(engine: sa.Engine, name: str) -> None:
    payload, reason = BAD[name]
    bad = Incoming("evenrun/1/lowland/P1/shot", payload, "mqtt", "test:bad")
    batch = messages(cushions(2))

    counts = pipeline(engine).take([batch[0], bad, batch[1]])

    assert (counts.stored, counts.refused) == (2, 1)
    with database.read(engine) as conn:
        [row] = refusals.kept(conn)
    assert row.reason == reason
    assert row.raw == payload
    assert row.detail
    assert row.remedy


def test_a_message_that_no_code_can_digest_is_cut_out_of_its_batch(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = press_work.PressWork.take

    def poisoned(self: press_work.PressWork, each: object) -> None:
        if getattr(each, "counter", None) == 1003:
            raise RuntimeError("a defect of ours")
        real(self, each)  # type: ignore[arg-type]

    monkeypatch.setattr(press_work.PressWork, "take", poisoned)
    acknowledged: list[int] = []
    batch = acknowledged_into(acknowledged, messages(cushions(6)))

    counts = pipeline(engine).take(batch)

    assert (counts.stored, counts.refused) == (5, 1)
    assert acknowledged == [0, 1, 2, 3, 4, 5]
    with database.read(engine) as conn:
        [row] = refusals.kept(conn)
    assert (row.reason, row.raw) == ("undigested", batch[3].payload)


def acknowledged_into(into: list[int], batch: Sequence[Incoming]) -> list[Incoming]:
    return [each._replace(ack=partial(into.append, number)) for number, each in enumerate(batch)]


def test_nothing_is_acknowledged_or_remembered_when_the_store_fails(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    acknowledged: list[int] = []
    batch = acknowledged_into(acknowledged, messages(cushions(40)))
    taker = pipeline(engine)
    real = press_work.presses.note

    def fails(*_: object, **__: object) -> None:
        raise StoreUnavailable("the disk is full")

    monkeypatch.setattr(press_work.presses, "note", fails)
    with pytest.raises(StoreUnavailable):
        taker.take(batch)
    assert rows(engine, shots.c.id) == []
    assert acknowledged == []

    monkeypatch.setattr(press_work.presses, "note", real)
    assert taker.take(batch).stored == 40
    assert acknowledged == list(range(40))


def test_a_run_message_opens_a_run_and_the_next_one_closes_it(engine: sa.Engine) -> None:
    at = (START - timedelta(minutes=1)).isoformat()
    later = (START + timedelta(minutes=2, seconds=30)).isoformat()
    first = topic_message("run", action="open", at=at, run="R-1", mold="Larch 5", blend="A", lot="3118")
    second = topic_message("run", action="open", at=later, run="R-2", mold="Larch 5", blend="A", lot="3118")
    batch = messages(cushions(5))

    pipeline(engine).take([first, *batch[:3], second, *batch[3:]])

    found = rows(engine, runs.c.name, runs.c.opened_by, runs.c.mold, runs.c.closed_at)
    assert [row[:3] for row in found] == [("R-1", "message", "Larch 5"), ("R-2", "message", "Larch 5")]
    assert found[0][3] == datetime.fromisoformat(later)
    assert [row[0] for row in rows(engine, shots.c.run_id)] == [1, 1, 1, 2, 2]


def test_a_new_lot_is_an_event_of_the_same_run(engine: sa.Engine) -> None:
    at, later = START.isoformat(), (START + timedelta(minutes=3, seconds=30)).isoformat()
    first = topic_message("run", action="open", at=at, run="R-1", blend="B", lot="4463")
    again = topic_message("run", action="open", at=later, run="R-1", blend="B", lot="4471")
    batch = [message(n, {"cushion": 6.0}) for n in range(1, 6)]

    pipeline(engine).take([first, *batch[:3], again, *batch[3:], again])

    lots = [row for row in rows(engine, events.c.kind, events.c.old, events.c.new) if row[0] == "lot"]
    assert [row[1:] for row in lots] == [("4463", "4471")]
    assert len(rows(engine, runs.c.id)) == 1


def test_a_shot_without_any_run_gets_one_that_says_it_was_inferred(engine: sa.Engine) -> None:
    pipeline(engine).take(messages(cushions(3)))

    [(name, opened_by)] = rows(engine, runs.c.name, runs.c.opened_by)
    assert (name, opened_by) == (f"P1-{START:%Y%m%d-%H%M%S}", "inferred")


def test_the_original_value_and_unit_stay_readable(engine: sa.Engine) -> None:
    pipeline(engine).take([message(1, {"peak_melt_pressure": 742.0}, units={"peak_melt_pressure": "bar"})])

    [(values, originals)] = rows(engine, shots.c.characteristics, shots.c.originals)
    assert values == {"peak_melt_pressure": pytest.approx(74.2)}
    assert originals == {"peak_melt_pressure": [742.0, "bar"]}


def test_times_are_compared_with_the_service_clock_not_with_the_wall(engine: sa.Engine) -> None:
    wall = datetime(2031, 1, 1, tzinfo=UTC)
    clock = ServiceClock(wall_anchor=wall, service_anchor=NOW, wall=lambda: wall)
    taker = Pipeline(engine, policy=POLICY, intake=Intake(), clock=clock, wall=lambda: wall)

    assert taker.take(messages(cushions(2))).refused == 0


def test_a_run_that_is_described_after_its_first_shot_is_judged_as_described(engine: sa.Engine) -> None:
    batch = [message(n, {"cushion": 6.0}, run="R-1") for n in range(4)]
    told_later = topic_message(
        "run", action="open", at=START.isoformat(), run="R-1", mold="Larch 5", blend="A", recipe="L5",
        recipe_version=2,
    )

    pipeline(engine).take([*batch[:2], told_later, *batch[2:]])

    [(state,)] = rows_of_states(engine)
    assert state["context"] == "Larch 5|A|-|L5 v2"
    assert len(rows(engine, runs.c.id)) == 1


def rows_of_states(engine: sa.Engine) -> list[tuple[dict[str, object]]]:
    with database.read(engine) as conn:
        return [(row.state,) for row in conn.execute(sa.select(engine_states.c.state))]


def test_trays_that_the_broker_hands_over_again_keep_their_places(engine: sa.Engine) -> None:
    batch = messages(cushions(7))
    first = topic_message("tray", at=START.isoformat(), tray="41")
    second = topic_message("tray", at=(START + timedelta(minutes=3)).isoformat(), tray="42")
    before_the_kill = [first, *batch[:3], second, *batch[3:6]]
    pipeline(engine).take(before_the_kill)

    pipeline(engine).take([*before_the_kill, batch[6]])

    assert rows(engine, shots.c.tray, shots.c.tray_position)[-1] == ("42", 4)
    assert [row[0] for row in rows(engine, events.c.kind)].count("tray") == 2


def test_a_fast_press_without_a_counter_keeps_its_second_shot(engine: sa.Engine) -> None:
    batch = [
        topic_message(
            "shot", ended_at=(START + timedelta(seconds=10 * n)).isoformat(), values={"cushion": 6.0 + n}
        )
        for n in range(6)
    ]

    counts = pipeline(engine).take([*batch, *batch])

    assert (counts.stored, counts.duplicates, counts.amended) == (6, 6, 0)


def test_a_finished_run_that_comes_again_leaves_the_running_one_alone(engine: sa.Engine) -> None:
    def of_run(name: str, action: str, minute: float) -> Incoming:
        at = (START + timedelta(minutes=minute)).isoformat()
        return topic_message("run", action=action, at=at, run=name)

    batch = messages(cushions(6))
    first = [of_run("R-1", "open", -0.5), *batch[:3], of_run("R-1", "close", 2.5)]
    taker = pipeline(engine)
    taker.take([*first, of_run("R-2", "open", 2.8), *batch[3:5]])
    before = rows(engine, events.c.kind, events.c.new)

    taker.take([*first, batch[5]])

    assert [row[0] for row in rows(engine, shots.c.run_id)] == [1, 1, 1, 2, 2, 2]
    assert [row[1] is None for row in rows(engine, runs.c.name, runs.c.closed_at)] == [False, True]
    assert rows(engine, events.c.kind, events.c.new) == before


def test_a_backlog_without_counters_is_stored_in_one_go(engine: sa.Engine) -> None:
    inserted: list[str] = []

    @sa.event.listens_for(engine, "before_cursor_execute")
    def note(_conn: object, _cursor: object, statement: str, *_more: object) -> None:
        if statement.startswith("INSERT INTO shots"):
            inserted.append(statement)

    batch = [message(n, {"cushion": value}, counter=None) for n, value in enumerate(cushions(60))]
    taker = pipeline(engine)
    counts = taker.take(batch)

    assert counts.stored == 60
    assert len(inserted) == 1
    assert taker.take(batch[30:]).duplicates == 30


def test_a_press_is_locked_in_one_question_and_noted_in_one_update(engine: sa.Engine) -> None:
    """Each statement is a round trip to PostgreSQL; they are counted, not timed."""
    asked: list[str] = []
    batch = messages(cushions(60))
    taker = pipeline(engine)
    taker.take(batch[:50])

    @sa.event.listens_for(engine, "before_cursor_execute")
    def note(_conn: object, _cursor: object, statement: str, *_more: object) -> None:
        asked.append(statement)

    assert taker.take(batch[50:]).stored == 10

    assert len([each for each in asked if each.startswith("UPDATE presses")]) == 1
    named = [each for each in asked if "FROM presses" in each and "WHERE presses.site" in each]
    assert len(named) == 1
    assert ("FOR NO KEY UPDATE" in named[0]) is (engine.dialect.name == "postgresql")
    assert len([each for each in asked if "FOR NO KEY UPDATE" in each]) <= 1
    assert len(asked) <= {"postgresql": 9, "sqlite": 11}[engine.dialect.name], "\n".join(asked)
