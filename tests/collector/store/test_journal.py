"""The journal shows every change of what was written."""

from __future__ import annotations

import hashlib
import threading
from datetime import UTC, datetime
from typing import Any

import pytest
import sqlalchemy as sa

from collector.store import journal, tables
from collector.store.database import read, write

AT = datetime(2026, 11, 24, 10, 0, tzinfo=UTC)


def append(engine: sa.Engine, **changed: Any) -> bytes:
    entry = {"who": "operator 1", "action": "acknowledge", "subject": "alarm 1"} | changed
    with write(engine) as conn:
        return journal.append(conn, at=AT, wall_at=AT, **entry)


def breaks(engine: sa.Engine) -> list[journal.Break]:
    with read(engine) as conn:
        return journal.verify(conn)


def three_entries(engine: sa.Engine) -> list[bytes]:
    return [
        append(engine, subject=f"alarm {n}", before={"state": "active"}, after={"share": 1.25}, why="looked")
        for n in (1, 2, 3)
    ]


def past_the_guards(engine: sa.Engine, statement: str) -> None:
    """Do what somebody with the file or the database's password could do."""
    guards = {
        "sqlite": ["DROP TRIGGER journal_no_update", "DROP TRIGGER journal_no_delete"],
        "postgresql": ["ALTER TABLE journal DISABLE TRIGGER USER"],
    }
    with write(engine) as conn:
        for each in (*guards[engine.dialect.name], statement):
            conn.exec_driver_sql(each)


def test_an_empty_journal_holds(engine: sa.Engine) -> None:
    assert breaks(engine) == []
    with read(engine) as conn:
        assert journal.head(conn) == bytes(32)


def test_entries_follow_each_other(engine: sa.Engine) -> None:
    digests = three_entries(engine)

    assert breaks(engine) == []
    with read(engine) as conn:
        assert journal.head(conn) == digests[-1]


def test_the_digest_is_what_its_description_says(engine: sa.Engine) -> None:
    first = append(engine, after={"cause": "new lot"}, why="tub 4711 opened")
    # Written out by hand from the description in the module, in the canonical form of RFC 8785.
    text = (
        '{"action":"acknowledge","after":{"cause":"new lot"},"at":1795514400000000,"before":null,"form":1,'
        f'"previous":"{"0" * 64}","subject":"alarm 1","wall_at":1795514400000000,"who":"operator 1",'
        '"why":"tub 4711 opened"}'
    )

    assert first == hashlib.sha256(text.encode()).digest()


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE journal SET who = 'operator 2' WHERE id = 2", ["entry 2 was changed"]),
        ("UPDATE journal SET at = at + 1 WHERE id = 1", ["entry 1 was changed"]),
        ("UPDATE journal SET why = NULL WHERE id = 3", ["entry 3 was changed"]),
        ("DELETE FROM journal WHERE id = 2", ["entry 3 does not follow"]),
        ("DELETE FROM journal WHERE id = 1", ["entry 2 does not follow"]),
    ],
)
def test_a_change_shows_where_it_was_made(engine: sa.Engine, statement: str, words: list[str]) -> None:
    three_entries(engine)
    past_the_guards(engine, statement)
    found = breaks(engine)

    assert [each.sentence.startswith(start) for each, start in zip(found, words, strict=True)] == [True]


def test_cutting_off_the_end_shows_only_against_a_digest_kept_outside(engine: sa.Engine) -> None:
    digests = three_entries(engine)
    past_the_guards(engine, "DELETE FROM journal WHERE id = 3")

    assert breaks(engine) == []
    with read(engine) as conn:
        assert journal.head(conn) != digests[-1]


@pytest.mark.parametrize("statement", ["UPDATE journal SET who = 'nobody'", "DELETE FROM journal"])
def test_the_database_refuses_a_change(engine: sa.Engine, statement: str) -> None:
    three_entries(engine)
    with (
        pytest.raises(sa.exc.DBAPIError, match="the journal is only added to"),
        write(engine) as conn,
    ):
        conn.exec_driver_sql(statement)

    assert breaks(engine) == []
    with read(engine) as conn:
        assert conn.execute(sa.select(sa.func.count()).select_from(tables.journal)).scalar() == 3


def test_a_rolled_back_act_leaves_no_entry(engine: sa.Engine) -> None:
    with write(engine) as conn:
        journal.append(conn, at=AT, wall_at=AT, who="operator 1", action="close", subject="alarm 1")
        conn.rollback()

    with read(engine) as conn:
        assert journal.head(conn) == journal.BEGINNING


def test_people_writing_at_once_make_one_chain(engine: sa.Engine) -> None:
    threads = [
        threading.Thread(target=lambda n=n: [append(engine, who=f"operator {n}") for _ in range(5)])
        for n in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)

    assert breaks(engine) == []
    with read(engine) as conn:
        assert conn.execute(sa.select(sa.func.count()).select_from(tables.journal)).scalar() == 20


def test_what_is_no_json_is_refused_before_it_is_written(engine: sa.Engine) -> None:
    with pytest.raises(TypeError, match="datetime is no JSON value"):
        append(engine, before={"at": AT})
