"""A store from before alarms could be set aside keeps every row, with its states in the new words."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command

from collector.store import database
from collector.store.migrations import runner

_numbers = count(1)
SHOT = {
    "press_id": 1, "epoch": 1, "counter": 1, "ended_at": 1, "received_at": 1, "time_reconstructed": False,
    "phase": "charted", "signaled": True, "source": "test", "characteristics": "{}", "setpoints": "{}",
    "digest": b"1",
}  # fmt: skip
ALARM = {
    "press_id": 1, "kind": "process", "opened_at": 1, "changed_at": 1, "quiet_shots": 5, "first_shot_id": 1,
    "characteristics": "[]", "headline": "Cushion low",
}  # fmt: skip
HOLD = {"press_id": 1, "from_shot_id": 1, "reason": "x", "opened_by": "service", "opened_at": 1}


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def old_store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[sa.Engine]:
    """A store of the second migration."""
    url = f"sqlite:///{tmp_path / 'old.db'}"
    if request.param == "postgresql":
        url = request.getfixturevalue("new_postgres_url")(f"old_alarms_{next(_numbers)}")
    engine = database.open_engine(url)
    with database.write(engine) as conn:
        made = runner.config()
        made.attributes["connection"] = conn
        command.upgrade(made, "0002")
        _fill(conn)
    yield engine
    engine.dispose()


def _fill(conn: sa.Connection) -> None:
    meta = sa.MetaData()
    meta.reflect(conn, only=["presses", "shots", "alarms", "holds", "alarm_steps", "signals"])
    rows = {
        "presses": [{"id": 1, "site": "s", "name": "P1"}],
        "shots": [{"id": 1, **SHOT}],
        "alarms": [
            {"id": 1, "state": "returned_unacknowledged", **ALARM},
            {"id": 2, "state": "normal", **ALARM},
            {"id": 3, "state": "normal", **ALARM},
        ],
        "holds": [
            {"alarm_id": 1, "state": "open", **HOLD},
            {"alarm_id": 2, "state": "open", **HOLD},
            {"alarm_id": 3, "state": "released", "closed_by": "quality 1", "closed_at": 7, **HOLD},
        ],
        "alarm_steps": [{"alarm_id": 1, "at": 1, "event": "occur", "after": "x", "who": "service"}],
        "signals": [{
            "press_id": 1, "shot_id": 1, "kind": "chart", "key": "cushion", "rule": "x", "direction": 1,
            "points": 1, "withdrawn": False, "alarm_id": 1,
        }],
    }  # fmt: skip
    for table, new in rows.items():
        for row in new:
            conn.execute(sa.insert(meta.tables[table]).values(**row))


def _all(engine: sa.Engine, statement: str) -> list[tuple[object, ...]]:
    with database.read(engine) as conn:
        return [tuple(row) for row in conn.execute(sa.text(statement))]


def test_alarms_with_discs_still_on_hold_are_latched(old_store: sa.Engine) -> None:
    database.upgrade(old_store)
    assert _all(old_store, "SELECT id, state FROM alarms ORDER BY id") == [
        (1, "latched_unacknowledged"), (2, "latched_acknowledged"), (3, "normal"),
    ]  # fmt: skip


def test_what_refers_to_an_alarm_still_does_and_is_checked_again(old_store: sa.Engine) -> None:
    database.upgrade(old_store)
    assert _all(old_store, "SELECT alarm_id FROM signals UNION ALL SELECT alarm_id FROM alarm_steps") == [
        (1,), (1,),
    ]  # fmt: skip
    with pytest.raises(sa.exc.IntegrityError), database.write(old_store) as conn:
        conn.execute(sa.text("DELETE FROM alarms WHERE id = 1"))


def test_the_steps_of_holds_begin_with_what_is_known_of_them(old_store: sa.Engine) -> None:
    database.upgrade(old_store)
    steps = _all(old_store, "SELECT hold_id, event, who, reason FROM hold_steps ORDER BY hold_id, id")
    assert [step[:2] for step in steps] == [(1, "open"), (2, "open"), (3, "open"), (3, "released")]
    assert steps[-1][2:] == ("quality 1", "")
