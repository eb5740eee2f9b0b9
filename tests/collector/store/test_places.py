"""A hold is a stretch of a press's shots as they were made, whatever the order in which they arrived.

Held against lists that are sorted and counted here, without a database. On both databases.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from random import Random
from typing import Any

import pytest
import sqlalchemy as sa

from collector.actions import holds as act
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import database, holds, places, shots, tables
from dashboard.queries import runs as run_queries
from dashboard.queries.hold_extent import held
from dashboard.queries.holds import shot_of
from tests.store_fixtures import STARTED, MakeShot

LATER = STARTED + timedelta(days=1)
CLOCK = ServiceClock(wall_anchor=LATER, service_anchor=LATER, wall=lambda: LATER)
COUNT = 60
FIRST, LAST = 20, 39  # of the hold, as they were made


def by_counter(number: int) -> dict[str, Any]:
    """One epoch, counters as they rise."""
    return {"epoch": 0, "counter": number}


def by_time(number: int) -> dict[str, Any]:
    """A press without a counter."""
    return {"epoch": 0, "counter": None}


def by_epoch(number: int) -> dict[str, Any]:
    """The counter began anew in the midst of the hold."""
    return {"epoch": number // 30, "counter": number % 30}


def clock_set_back(number: int) -> dict[str, Any]:
    """The counter tells the order although the press's clock was set back by an hour."""
    at = STARTED + timedelta(minutes=number) - timedelta(hours=number >= 30)
    return {"epoch": 0, "counter": number, "ended_at": at}


NAMED = [by_counter, by_time, by_epoch, clock_set_back]


@pytest.fixture(params=NAMED, ids=lambda named: named.__name__)
def made(request: pytest.FixtureRequest, engine: sa.Engine, make_shot: MakeShot) -> list[int]:
    """Ids of the shots of P1 in the order in which they were made; they arrived in another."""
    numbers = list(range(COUNT))
    Random(7).shuffle(numbers)
    with database.write(engine) as conn:
        for name in ("P1", "P2"):
            conn.execute(sa.insert(tables.presses).values(site="lowland", name=name))
        run = {"press_id": 1, "name": "R-1", "opened_at": STARTED, "opened_by": "form"}
        conn.execute(sa.insert(tables.runs).values(**run))
        found = {}
        for number in numbers:
            fields = {
                "press_id": 1, "run_id": 1, "tray": f"T{number // 10}", "tray_position": 1 + number % 10,
                "ended_at": STARTED + timedelta(minutes=number), **request.param(number),
            }  # fmt: skip
            [found[number]] = shots.insert(conn, [make_shot(**fields)])
            shots.insert(conn, [make_shot(press_id=2, counter=number)])
    return [found[number] for number in range(COUNT)]


def hold(engine: sa.Engine, made: Sequence[int], first: int, last: int | None) -> int:
    with database.write(engine) as conn:
        return holds.open_new(conn, {
            "press_id": 1, "run_id": 1, "from_shot_id": made[first],
            "to_shot_id": None if last is None else made[last], "reason": "r", "opened_by": "service",
            "opened_at": LATER,
        })  # fmt: skip


@pytest.mark.parametrize("last", [LAST, None])
def test_a_hold_has_the_shots_that_were_made_between_its_ends(
    engine: sa.Engine, made: list[int], last: int | None
) -> None:
    with database.read(engine) as conn:
        found = holds.extent(
            conn, press_id=1, from_shot_id=made[FIRST], to_shot_id=None if last is None else made[last]
        )
    assert found.discs == (LAST - FIRST + 1 if last is not None else COUNT - FIRST)
    assert found.trays == (("T2", "T3") if last is not None else ("T2", "T3", "T4", "T5"))


def test_a_late_shot_between_its_ends_is_in_it_and_one_before_is_not(
    engine: sa.Engine, make_shot: MakeShot
) -> None:
    """Counters 10 and 25 come when all the others are there: row numbers above those of the hold."""
    with database.write(engine) as conn:
        conn.execute(sa.insert(tables.presses).values(site="lowland", name="P1"))
        in_time = [number for number in range(40) if number not in (10, 25)]
        stored = shots.insert(conn, [make_shot(counter=each) for each in in_time])
        ids = dict(zip(in_time, stored, strict=True))
        asked: dict[str, Any] = {"press_id": 1, "from_shot_id": ids[20], "to_shot_id": ids[30]}
        assert holds.extent(conn, **asked).discs == 10
        shots.insert(conn, [make_shot(counter=25), make_shot(counter=10)])
        assert holds.extent(conn, **asked).discs == 11
        assert holds.extent(conn, **asked | {"to_shot_id": None}).discs == 20
        whole = holds.extent(conn, **asked)
    assert (whole.first_counter, whole.last_counter) == (20, 30)


def test_the_newest_and_the_next_shot_are_those_that_were_made_so(
    engine: sa.Engine, made: list[int]
) -> None:
    with database.read(engine) as conn:
        known = places.of(conn, made)
        assert places.newest(conn, 1) == made[-1]
        assert places.following(conn, 1, known[made[FIRST]]) == made[FIRST + 1]
        assert places.following(conn, 1, known[made[-1]]) is None
    assert [place.shot_id for place in sorted(known.values(), key=places.order)] == made


def test_a_counter_names_the_shot_of_the_newest_epoch(engine: sa.Engine, make_shot: MakeShot) -> None:
    """A run of the past is imported later than the shots after it were stored."""
    with database.write(engine) as conn:
        conn.execute(sa.insert(tables.presses).values(site="lowland", name="P1"))
        [newest] = shots.insert(conn, [make_shot(epoch=1, counter=7)])
        shots.insert(conn, [make_shot(epoch=-10_000, counter=7)])
        assert shot_of(conn, 1, 7) == newest
        assert shot_of(conn, 1, 8) is None


def test_a_tray_is_found_as_it_was_filled(engine: sa.Engine, made: list[int]) -> None:
    with database.read(engine) as conn:
        assert holds.tray_stretch(conn, 1, "T2") == (made[20], made[29])


def test_holds_that_overlap_count_a_disc_once(engine: sa.Engine, made: list[int]) -> None:
    for first, last in ((20, 30), (25, 35), (40, 45)):
        hold(engine, made, first, last)
    with database.read(engine) as conn:
        found = held(conn, 1, holds.open_holds(conn))
        [line] = run_queries.newest(conn)
    assert (found.discs, len(found.intervals)) == (16 + 6, 2)
    assert (line.held, line.waiting) == (22, 22)


def test_a_decision_ends_a_growing_hold_with_the_newest_shot(engine: sa.Engine, made: list[int]) -> None:
    number = hold(engine, made, FIRST, None)
    act.scrap(engine, number, who="quality 1", clock=CLOCK, reason="warped")
    with database.read(engine) as conn:
        found = holds.get(conn, number)
    assert found is not None
    assert (found.to_shot_id, found.bad_discs) == (made[-1], COUNT - FIRST)


def test_a_hold_by_hand_goes_from_an_earlier_to_a_later_shot(engine: sa.Engine, made: list[int]) -> None:
    words = {"who": "quality 1", "clock": CLOCK, "reason": "warped"}
    act.open_by_hand(engine, from_shot_id=made[FIRST], to_shot_id=made[LAST], **words)  # type: ignore[arg-type]
    with pytest.raises(NotAllowed, match="from an earlier to a later"):
        act.open_by_hand(engine, from_shot_id=made[LAST], to_shot_id=made[FIRST], **words)  # type: ignore[arg-type]


@pytest.mark.parametrize("open_end", [False, True])
def test_a_long_store_is_not_read_for_a_short_hold(
    engine: sa.Engine, make_shot: MakeShot, *, open_end: bool
) -> None:
    """The plans of both databases: SQLite's SEARCH and PostgreSQL's index scans read a part of an index."""
    with database.write(engine) as conn:
        conn.execute(sa.insert(tables.presses).values(site="lowland", name="P1"))
        ids = shots.insert(conn, [make_shot(counter=number) for number in range(5_000)])
        conn.exec_driver_sql("ANALYZE")
        first, last = sorted(places.of(conn, ids[-20:-18]).values(), key=places.order)
        query = sa.select(tables.shots.c.id).where(places.within(1, first, None if open_end else last))
        compiled = query.compile(conn, compile_kwargs={"literal_binds": True})
        explain = "EXPLAIN QUERY PLAN" if engine.dialect.name == "sqlite" else "EXPLAIN"
        plan = "\n".join(str(row) for row in conn.exec_driver_sql(f"{explain} {compiled}"))
    assert "press_id=? AND epoch=? AND counter>?" in plan or "Scan on uq_shots_press_id_epoch" in plan
    assert "SCAN" not in plan
    assert "Seq Scan" not in plan
