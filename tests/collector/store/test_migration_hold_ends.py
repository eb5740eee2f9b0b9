"""A hold of a store from before holds went by places keeps every disc that it had.

The discs are counted here from the row numbers, as the older version counted them. On both databases.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command

from collector.store import database, holds
from collector.store.migrations import runner

_numbers = count(1)
# Row numbers tell the order of arrival: of twenty shots the twelfth came last but three.
ARRIVED = [*(number for number in range(1, 18) if number != 12), 12, 18, 19, 20]
HELD = range(6, 18)  # rows of the hold, the last of which is the one that came late


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def old_store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[sa.Engine]:
    """An empty store of the eleventh migration."""
    url = f"sqlite:///{tmp_path / 'old.db'}"
    if request.param == "postgresql":
        url = request.getfixturevalue("new_postgres_url")(f"old_holds_{next(_numbers)}")
    engine = database.open_engine(url)
    with database.write(engine) as conn:
        made = runner.config()
        made.attributes["connection"] = conn
        command.upgrade(made, "0011")
    yield engine
    engine.dispose()


def _fill(conn: sa.Connection, named: Sequence[dict[str, Any]], ends: Sequence[int | None]) -> None:
    meta = sa.MetaData()
    meta.reflect(conn, only=["presses", "shots", "holds"])
    shot = {
        "press_id": 1, "received_at": 1, "time_reconstructed": False, "phase": "charted", "signaled": False,
        "source": "test", "characteristics": "{}", "setpoints": "{}", "digest": b"1",
    }  # fmt: skip
    hold = {
        "press_id": 1, "from_shot_id": HELD.start, "state": "open", "reason": "x", "opened_by": "service",
        "opened_at": 1,
    }  # fmt: skip
    conn.execute(sa.insert(meta.tables["presses"]), [{"id": 1, "site": "s", "name": "P1"}])
    conn.execute(sa.insert(meta.tables["shots"]), [shot | each for each in named])
    conn.execute(sa.insert(meta.tables["holds"]), [hold | {"to_shot_id": end} for end in ends])


@pytest.mark.parametrize("counted", [True, False], ids=["with a counter", "without"])
def test_no_disc_leaves_a_hold_when_holds_go_by_places(old_store: sa.Engine, counted: bool) -> None:
    named = [
        {"id": row, "epoch": 0, "counter": number if counted else None, "ended_at": 60_000_000 * number}
        for row, number in enumerate(ARRIVED, start=1)
    ]
    with database.write(old_store) as conn:
        _fill(conn, named, [HELD[-1], HELD[-2], None])

    database.upgrade(old_store)

    with database.read(old_store) as conn:
        rows = [holds.get(conn, number) for number in (1, 2, 3)]
        found = [
            holds.extent(conn, press_id=1, from_shot_id=row.from_shot_id, to_shot_id=row.to_shot_id).discs
            for row in rows
            if row is not None
        ]
    # The second hold had all but the late one, which lies among them.
    assert found == [len(HELD), len(HELD), len(HELD) + 3]
    assert rows[1] is not None
    assert rows[1].to_shot_id == HELD[-2], "an end that is right stays"
