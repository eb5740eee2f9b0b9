"""What is open is found without reading every alarm that ever was: asked of the databases' own plans.

SQLite, "EXPLAIN QUERY PLAN": SCAN reads a whole table, SEARCH a part of an index. PostgreSQL 15 manual, 14.1
"Using EXPLAIN": Seq Scan reads a whole table.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from collector.store import alarms as alarm_store
from collector.store import database, notices
from collector.store.tables import alarms

AT = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
CLOSED, OPEN = 3_000, 2


@pytest.fixture
def store(engine: sa.Engine) -> sa.Engine:
    """Years of closed alarms and two open ones."""
    row = {
        "kind": "silence", "state": "active_unacknowledged", "opened_at": AT, "changed_at": AT,
        "quiet_shots": 0, "characteristics": [], "headline": "No shot", "site": "lowland",
    }  # fmt: skip
    with database.write(engine) as conn:
        conn.execute(sa.insert(alarms), [row | {"closed_at": AT + timedelta(hours=n)} for n in range(CLOSED)])
        conn.execute(sa.insert(alarms), [row | {"closed_at": None} for _ in range(OPEN)])
        conn.exec_driver_sql("ANALYZE")
    return engine


@contextmanager
def recorded(conn: sa.Connection) -> Iterator[list[tuple[str, Any]]]:
    """The statements of a block as the database got them."""
    found: list[tuple[str, Any]] = []

    def note(_conn: Any, _cursor: Any, statement: str, parameters: Any, *_more: Any) -> None:
        found.append((statement, parameters))

    sa.event.listen(conn, "before_cursor_execute", note)
    yield found
    sa.event.remove(conn, "before_cursor_execute", note)


@pytest.mark.parametrize("read", [notices.asking, alarm_store.silences, alarm_store.unclosed])
def test_open_alarms_are_found_by_their_index(
    store: sa.Engine, read: Callable[[sa.Connection], list[object]]
) -> None:
    explain = "EXPLAIN QUERY PLAN " if store.dialect.name == "sqlite" else "EXPLAIN "
    with database.read(store) as conn:
        with recorded(conn) as asked:
            assert len(read(conn)) == OPEN
        [(statement, parameters)] = asked
        plan = "\n".join(map(str, conn.exec_driver_sql(explain + statement, parameters)))
    assert "ix_alarms_closed_at" in plan
    assert "SCAN alarms" not in plan
    assert "Seq Scan on alarms" not in plan
