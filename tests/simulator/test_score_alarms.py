"""What an alarm held, by the true counters: held against counters that are written down here."""

from __future__ import annotations

from datetime import timedelta

import sqlalchemy as sa

from collector.store import database, shots, tables
from simulator.score_alarms import read_alarms
from tests.store_fixtures import STARTED, MakeShot

LATE = 3  # was made third and arrived last


def test_a_shot_of_before_the_hold_that_came_late_is_none_of_it(
    engine: sa.Engine, make_shot: MakeShot
) -> None:
    with database.write(engine) as conn:
        conn.execute(sa.insert(tables.presses).values(site="lowland", name="P1"))
        arrived = [*(counter for counter in range(10) if counter != LATE), LATE]
        made = [
            make_shot(press_id=1, counter=counter, ended_at=STARTED + timedelta(minutes=counter))
            for counter in arrived
        ]
        ids = dict(zip(arrived, shots.insert(conn, made), strict=True))
        _alarm(conn, first_shot_id=ids[6])

    with database.read(engine) as conn:
        (alarm,) = read_alarms(conn, {"P1": {shot_id: counter for counter, shot_id in ids.items()}})

    assert alarm.held == (6, 9)


def _alarm(conn: sa.Connection, *, first_shot_id: int) -> None:
    alarm = {
        "press_id": 1, "kind": "process", "state": "unacknowledged", "opened_at": STARTED,
        "changed_at": STARTED, "quiet_shots": 0, "first_shot_id": first_shot_id, "characteristics": [],
        "headline": "Cushion 1 mm lower",
    }  # fmt: skip
    signal = {
        "press_id": 1, "shot_id": first_shot_id, "alarm_id": 1, "kind": "chart", "key": "cushion",
        "chart": "individuals", "rule": "beyond_limit", "direction": -1, "points": 1, "withdrawn": False,
    }  # fmt: skip
    hold = {
        "press_id": 1, "alarm_id": 1, "from_shot_id": first_shot_id, "state": "open", "reason": "x",
        "opened_by": "service", "opened_at": STARTED,
    }  # fmt: skip
    for table, row in ((tables.alarms, alarm), (tables.signals, signal), (tables.holds, hold)):
        conn.execute(sa.insert(table).values(**row))
