"""Late and corrected shots leave alone what they have nothing to do with. On both databases.

What is right is told by another store that took the same messages in order.
"""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from collector.store import database
from collector.store.tables import runs, shots, signals
from tests.collector.pipelines import messages, pipeline, rows, told, told_of, topic_message
from tests.collector.shots_in import START, cushions, message


def test_charts_that_start_anew_with_the_next_shot_do_so_though_a_late_one_comes_first(
    engine: sa.Engine,
) -> None:
    batch = messages(cushions(150, shift=2.0, shift_from=100))
    before = topic_message("setpoints", at=START.isoformat(), setpoints={"hold_time": 5.0})
    change = topic_message("setpoints", at=START.isoformat(), setpoints={"hold_time": 6.0})
    late, rest = batch[60], batch[108:]
    taker = pipeline(engine)
    taker.take([batch[0], before, *batch[1:60], *batch[61:108], change])

    taker.take([late])
    taker.take(rest)

    in_order = told_of([batch[0], before, *batch[1:108], change, *rest])
    assert in_order != told_of(batch), "the restart must matter"
    assert told(engine) == in_order


def test_a_corrected_shot_keeps_the_signal_of_a_setpoint_outside_its_recipe(engine: sa.Engine) -> None:
    taker = pipeline(engine)
    taker.take(messages(cushions(60)))
    with database.write(engine) as conn:  # as the check against a recipe would have marked it
        conn.execute(sa.update(shots).where(shots.c.counter == 1050).values(signaled=True))
        conn.execute(sa.text(
            "INSERT INTO signals (press_id, shot_id, kind, key, rule, direction, points, withdrawn) "
            "SELECT press_id, id, 'setting', 'hold_time', 'setpoint_deviation', 1, 1, false FROM shots "
            "WHERE counter = 1050"
        ))

    assert taker.take([message(50, {"cushion": 6.05})]).amended == 1

    assert dict(rows(engine, shots.c.counter, shots.c.signaled))[1050] is True  # type: ignore[arg-type]


def test_signals_that_stand_after_a_late_shot_say_what_they_would_have_said_in_order(
    engine: sa.Engine,
) -> None:
    batch = messages(cushions(150, shift=2.0, shift_from=100))
    late = batch[103]
    taker = pipeline(engine)
    taker.take([*batch[:103], *batch[104:]])
    before = stated(engine)

    assert taker.take([late]).late == 1

    other = sa.create_engine("sqlite://", poolclass=sa.StaticPool, json_serializer=database.to_json)
    database.upgrade(other)
    pipeline(other).take(batch)
    assert stated(engine) == pytest.approx(stated(other))
    common = before.keys() & stated(other).keys()
    assert any(before[name] != pytest.approx(stated(other)[name]) for name in common), "it must matter"


def stated(engine: sa.Engine) -> dict[tuple[object, ...], object]:
    """Share of each signal that stands, by counter, chart and rule."""
    c = signals.c
    query = (
        sa.select(shots.c.counter, c.chart, c.rule, c.share)
        .join(shots, shots.c.id == c.shot_id)
        .where(c.withdrawn.is_(False))
    )
    with database.read(engine) as conn:
        return {tuple(row[:3]): row[3] for row in conn.execute(query)}


def test_a_late_shot_belongs_to_the_run_it_names(engine: sa.Engine) -> None:
    first = [message(n, {"cushion": 6.0}, run="R-1") for n in range(5)]
    second = [message(n, {"cushion": 6.0}, run="R-2") for n in range(5, 10)]
    taker = pipeline(engine)
    taker.take([*first, *second[1:]])

    assert taker.take([second[0]]).late == 1

    query = sa.select(runs.c.name).join(shots, shots.c.run_id == runs.c.id).where(shots.c.counter == 1005)
    with database.read(engine) as conn:
        assert conn.execute(query).scalar_one() == "R-2"


def test_a_straggler_of_an_earlier_epoch_is_stored_though_its_counter_came_again(engine: sa.Engine) -> None:
    batch = messages(cushions(20))
    renumbered = [message(20 + n, {"cushion": 6.0}, counter=1000 + n) for n in range(10)]
    taker = pipeline(engine)
    taker.take([*batch[:5], *batch[6:], *renumbered])

    counts = taker.take([batch[5]])

    assert (counts.late, counts.refused) == (1, 0)
    assert (1005, 0) in rows(engine, shots.c.counter, shots.c.epoch)


def test_a_file_that_overlaps_a_running_run_does_not_close_it(engine: sa.Engine) -> None:
    batch = messages(cushions(10))
    taker = pipeline(engine)
    taker.take([topic_message("run", action="open", at=START.isoformat(), run="R-1"), *batch[:8]])
    end = topic_message("run", action="close", at=START.isoformat(), run="R-1")

    assert taker.take([end._replace(source="export.csv")]).other == 1
    taker.take(batch[8:])

    assert rows(engine, runs.c.name, runs.c.closed_at) == [("R-1", None)]
