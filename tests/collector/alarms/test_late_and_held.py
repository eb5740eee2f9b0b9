"""What an alarm holds does not hang on the order in which its shots arrived.

Held against a store to which the same shots came in order, and against the counter at which this test shifted
the values. On both databases.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest
import sqlalchemy as sa

from collector.sources.incoming import Incoming
from collector.store import database, holds, tables
from collector.store.holds import Extent
from tests.collector.pipelines import messages, pipeline
from tests.collector.shots_in import cushions

SHIFTED = range(60, 90)  # of 140 shots


def batch() -> list[Incoming]:
    values = cushions(140, shift=6.0, shift_from=SHIFTED.start)
    usual = cushions(140)
    return messages([*values[: SHIFTED.stop], *usual[SHIFTED.stop :]])


def held_of(engine: sa.Engine) -> Extent:
    """What the first hold of the store has."""
    with database.read(engine) as conn:
        number = conn.execute(sa.select(sa.func.min(tables.holds.c.id))).scalar_one()
        row = holds.get(conn, number)
        assert row is not None
        return holds.extent(
            conn, press_id=row.press_id, from_shot_id=row.from_shot_id, to_shot_id=row.to_shot_id
        )


def in_order(shots: Sequence[Incoming]) -> Extent:
    other = sa.create_engine("sqlite://", poolclass=sa.StaticPool, json_serializer=database.to_json)
    database.upgrade(other)
    pipeline(other).take(shots)
    return held_of(other)


@pytest.mark.parametrize("upto", [80, 140], ids=["while it grows", "when it has ended"])
@pytest.mark.parametrize("late", [(50,), (70,), (50, 70), (88, 89)], ids=str)
def test_late_shots_lie_where_they_were_made(engine: sa.Engine, late: tuple[int, ...], upto: int) -> None:
    made = batch()[:upto]
    taker = pipeline(engine)
    taker.take([each for number, each in enumerate(made) if number not in late])
    taker.take([made[number] for number in late if number < upto])

    found = held_of(engine)

    assert found == in_order(made)
    assert found.first_counter is not None
    assert abs(found.first_counter - 1000 - SHIFTED.start) <= 2, "where the values were shifted"


def last_counter(engine: sa.Engine) -> int | None:
    """The counter of the last shot at which the first alarm signaled, as its row says."""
    a, c = tables.alarms.c, tables.shots.c
    query = sa.select(c.counter).join(tables.alarms, a.last_shot_id == c.id).order_by(a.id).limit(1)
    with database.read(engine) as conn:
        return conn.execute(query).scalar_one()


@pytest.mark.parametrize("late", [(70,), (62, 63, 64, 65), (75, 70)], ids=str)
def test_a_late_shot_that_signaled_is_not_the_last_one(engine: sa.Engine, late: tuple[int, ...]) -> None:
    made = batch()[:80]
    taker = pipeline(engine)
    taker.take([each for number, each in enumerate(made) if number not in late])
    taker.take([made[number] for number in late])

    assert last_counter(engine) == 1079, "the last shot made is still shifted"
