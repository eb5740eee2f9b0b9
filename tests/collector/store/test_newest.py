"""The arrays an alarm is judged by hold what the data frame of the same shots holds."""

from __future__ import annotations

import json

import numpy as np
import pytest
import sqlalchemy as sa
from sqlalchemy import event

from collector.store import database, doubts, newest, shot_values, shots, tables
from tests.collector.pipelines import pipeline
from tests.collector.shots_in import message
from tests.store_fixtures import MakeShot

KEYS = ["cushion", "coolant_flow"]


@pytest.mark.parametrize("last", [7, 40, 600])
def test_the_newest_shots_are_those_of_the_frame_without_what_is_in_doubt(
    engine: sa.Engine, last: int
) -> None:
    rng = np.random.default_rng(7)
    told = [{"cushion": float(rng.normal(6.1, 0.1)), "coolant_flow": 8.0} for _ in range(60)]
    told[50]["cushion"] = 400.0
    del told[52]["coolant_flow"]
    pipeline(engine).take([message(number, each, run="R-1") for number, each in enumerate(told)])
    phases = ("baseline", "charted")
    with database.read(engine) as conn:
        found = newest.read(conn, 1, keys=KEYS, phases=phases, last=last)
        frame = shots.values(conn, press_id=1, keys=KEYS, phases=phases, last=last)
        frame = doubts.without_doubted(conn, frame, KEYS, press_id=1)

    assert found.ids.tolist() == frame["id"].tolist()
    for key in KEYS:
        np.testing.assert_array_equal(found.values[key], frame[key].to_numpy(dtype=float))
    assert found.ids.size < 10 or np.isnan(found.values["cushion"]).sum() == 1
    assert found.last(5).ids.tolist() == found.ids[-5:].tolist()


def test_a_run_of_the_past_that_was_imported_since_is_not_among_the_newest(
    engine: sa.Engine, make_shot: MakeShot
) -> None:
    with database.write(engine) as conn:
        conn.execute(sa.insert(tables.presses).values(site="lowland", name="P1"))
        own = shots.insert(conn, [make_shot(counter=number) for number in range(4)])
        shots.insert(conn, [make_shot(counter=number, epoch=-10_000) for number in range(4)])
        own += shots.insert(conn, [make_shot(counter=4)])
        found = newest.read(conn, 1, keys=KEYS, phases=("charted",), last=6)
    assert found.ids.tolist() == own


def test_the_newest_shots_are_found_from_the_newest_on(engine: sa.Engine) -> None:
    # SQLite, "EXPLAIN QUERY PLAN": a temporary B-tree sorts all that was found before the first row is given.
    # PostgreSQL would sort as well as long as a press has few shots, and rightly so.
    if engine.dialect.name != "sqlite":
        pytest.skip("what is read depends on how many shots there are")
    plans: list[str] = []

    def explain(conn: sa.Connection, *executed: object) -> None:
        statement, asked = executed[1], executed[2]
        if "characteristics" in str(statement):
            raw = conn.connection.cursor()
            plans.extend(row[-1] for row in raw.execute(f"EXPLAIN QUERY PLAN {statement}", asked))

    with database.read(engine) as conn:
        event.listen(conn, "before_cursor_execute", explain)
        newest.read(conn, 1, keys=KEYS, phases=("charted",), last=600)
    assert plans == ["SEARCH shots USING INDEX ix_shots_press (press_id=?)"]


def test_few_shots_are_decoded_like_many() -> None:
    rng = np.random.default_rng(3)
    told = [{"cushion": each} if place % 3 else {} for place, each in enumerate(rng.standard_normal(400))]
    texts = [json.dumps(each) for each in told]
    many = shot_values.columns(texts, KEYS)
    few = shot_values.columns(texts[:100], KEYS)
    for key in KEYS:
        np.testing.assert_array_equal(few[key], many[key][:100])
