"""Leases in the store, on both databases: one holder at a time, and none that stood still can commit.

What is right is told by PostgreSQL's and SQLite's own rows and locks; the times are given by the test.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from collector.errors import LeaseLost, StoreUnavailable
from collector.leases.keeper import Keeper, new_name
from collector.store import database, leases
from collector.store.leases import Lease, url_under

START = datetime(2026, 11, 24, 10, tzinfo=UTC)
LASTS_S = 3.0
NAMES = [("c-1-of-2", 1), ("c-2-of-2", 2)]


class Floor:
    """A time that the test moves, and collectors that share a store."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.passed_s = 0.0
        self.engines: list[sa.Engine] = []

    def collector(self, name: str, names: list[tuple[str, int]] = NAMES) -> Keeper:
        engine = database.open_engine(url_under(self.url, name))
        self.engines.append(engine)
        return Keeper(
            engine, site="lowland", me=name, wanted=names, lasts_s=LASTS_S,
            clock=lambda _: START + timedelta(seconds=self.passed_s), monotonic=lambda: self.passed_s,
        )  # fmt: skip


@pytest.fixture
def floor(database_url: str) -> Iterator[Floor]:
    made = Floor(database_url)
    yield made
    for engine in made.engines:
        engine.dispose()


def take_planned(keeper: Keeper) -> list[str]:
    """One look, and what of the plan was taken."""
    wanted = keeper.look()
    return [taken.name for each in wanted.take if (taken := keeper.take(each)) is not None]


def commits(floor: Floor, lease: Lease) -> bool:
    """Whether a transaction that rests on a lease may commit."""
    try:
        with database.write(floor.engines[0]) as conn:
            leases.check(conn, lease)
    except LeaseLost:
        return False
    return True


def test_the_only_collector_takes_every_part(floor: Floor) -> None:
    only = floor.collector("a")

    assert take_planned(only) == ["c-1-of-2", "c-2-of-2"]
    assert take_planned(only) == []
    assert all(commits(floor, each) for each in only.held.values())


def test_two_that_are_there_have_one_part_each(floor: Floor) -> None:
    first, second = floor.collector("a"), floor.collector("b")
    take_planned(first)
    assert take_planned(second) == []  # nothing is free yet

    (surplus,) = first.look().give_up
    first.give_up(first.held[surplus.name])

    assert take_planned(second) == [surplus.name]
    assert (len(first.held), len(second.held)) == (1, 1)
    assert first.look().give_up == second.look().give_up == ()


def test_a_silent_holder_loses_its_parts_when_they_run_out_and_not_before(floor: Floor) -> None:
    first, second = floor.collector("a"), floor.collector("b")
    take_planned(first)
    floor.passed_s = LASTS_S

    assert take_planned(second) == []

    floor.passed_s = LASTS_S + 0.01
    second.look()  # the first one is no longer counted among those that are there
    assert take_planned(second) == ["c-1-of-2", "c-2-of-2"]


def test_a_holder_that_stood_still_can_neither_commit_nor_renew_nor_connect(floor: Floor) -> None:
    first, second = floor.collector("a"), floor.collector("b")
    take_planned(first)
    asleep = first.held["c-1-of-2"]
    floor.passed_s = 2 * LASTS_S
    assert not first.is_valid()
    second.look()
    assert take_planned(second) == ["c-1-of-2", "c-2-of-2"]

    assert not commits(floor, asleep)
    first.look()
    assert first.held == {}
    assert all(commits(floor, each) for each in second.held.values())


def test_what_ran_out_but_nobody_took_is_renewed(floor: Floor) -> None:
    only = floor.collector("a")
    take_planned(only)
    floor.passed_s = 10 * LASTS_S

    only.look()

    assert len(only.held) == 2
    assert only.is_valid()
    assert all(commits(floor, each) for each in only.held.values())


def test_a_clock_that_is_set_back_does_not_keep_a_lease_for_the_dead(floor: Floor) -> None:
    first, second = floor.collector("a"), floor.collector("b")
    take_planned(first)
    floor.passed_s = -3600.0
    second.look()

    assert take_planned(second) == ["c-1-of-2", "c-2-of-2"]


def test_a_clock_that_is_set_back_takes_nothing_from_the_living(floor: Floor) -> None:
    first, second = floor.collector("a"), floor.collector("b")
    take_planned(first)
    floor.passed_s = -3600.0
    seen = second.look()
    first.look()

    assert seen.take
    assert [second.take(each) for each in seen.take] == [None] * len(seen.take)
    assert len(first.held) == 2


def test_one_that_leaves_frees_its_parts_at_once(floor: Floor) -> None:
    first, second = floor.collector("a"), floor.collector("b")
    take_planned(first)
    first.leave()

    assert take_planned(second) == ["c-1-of-2", "c-2-of-2"]


def test_of_many_that_want_a_lease_at_once_one_gets_it(floor: Floor) -> None:
    rivals = [floor.collector(f"r{number}", [("c", 1)]) for number in range(6)]
    plans = [rival.look() for rival in rivals]
    taken: list[str] = []

    def try_it(rival: Keeper, lease: Lease) -> None:
        if rival.take(lease) is not None:
            taken.append(rival.me)

    threads = [
        threading.Thread(target=try_it, args=(rival, plan.take[0]))
        for rival, plan in zip(rivals, plans, strict=True)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)

    assert len(taken) == 1


def test_a_transaction_that_rests_on_a_lease_does_not_hold_up_its_renewal(floor: Floor) -> None:
    if floor.url.startswith("sqlite"):
        pytest.skip("SQLite has one writer at a time")
    only = floor.collector("a")
    take_planned(only)
    with database.write(floor.engines[0]) as conn:
        leases.check(conn, only.held["c-1-of-2"])
        conn.execute(sa.text("SET LOCAL idle_in_transaction_session_timeout = '20s'"))
        only.look()  # would wait for ever if it were held up

    assert len(only.held) == 2


def test_a_transaction_that_stands_still_is_ended_by_who_takes_over(floor: Floor) -> None:
    if floor.url.startswith("sqlite"):
        pytest.skip("the lock of a process that stands still in SQLite is the whole file's")
    first, second = floor.collector("a"), floor.collector("b")
    take_planned(first)

    def sleep_within_a_transaction() -> None:
        with database.write(floor.engines[0]) as conn:
            leases.check(conn, first.held["c-1-of-2"])
            floor.passed_s = LASTS_S + 1
            second.look()
            assert take_planned(second) == ["c-1-of-2", "c-2-of-2"]
            conn.execute(sa.select(sa.literal(1)))  # what the sleeper does when it wakes up

    with pytest.raises(StoreUnavailable):
        sleep_within_a_transaction()
    assert set(second.held) == {"c-1-of-2", "c-2-of-2"}


def test_a_transaction_that_cannot_be_ended_delays_a_takeover_but_blocks_nobody(floor: Floor) -> None:
    if floor.url.startswith("sqlite"):
        pytest.skip("SQLite has no row locks")
    first, second = floor.collector("a"), floor.collector("b")
    take_planned(first)
    stranger = database.open_engine(floor.url)  # its connections do not bear the holder's name
    floor.engines.append(stranger)
    with database.write(stranger) as conn:
        leases.check(conn, first.held["c-1-of-2"])
        floor.passed_s = LASTS_S + 1
        second.look()
        lease = second.look().take[0]
        with pytest.raises(StoreUnavailable, match="locked"):
            second.take(lease)

    assert second.take(lease) is not None


def test_a_store_that_was_restored_does_not_mistake_one_holder_for_another(floor: Floor) -> None:
    only = floor.collector("a")
    take_planned(only)
    held = only.held["c-1-of-2"]

    assert commits(floor, held)
    assert not commits(floor, replace(held, holder="b"))


def test_a_new_division_waits_for_all_its_sessions_before_the_old_one_ends(floor: Floor) -> None:
    before = floor.collector("a", [("c", 1)])
    take_planned(before)
    before.leave()
    after = floor.collector("b")

    assert take_planned(after) == ["c", "c-1-of-2", "c-2-of-2"]
    assert not after.is_wanted(after.held["c"])
    after.note_ready(after.held["c-1-of-2"])
    after.look()
    assert not after.all_ready()
    after.note_ready(after.held["c-2-of-2"])
    after.look()
    assert after.all_ready()
    after.remove(after.held["c"])
    after.look()
    assert [each.name for each in after.rows] == ["c-1-of-2", "c-2-of-2"]


def test_the_database_tells_the_time_of_leases(database_url: str) -> None:
    engine = database.open_engine(database_url)
    with database.read(engine) as conn:
        told = leases.clock(conn)
    engine.dispose()

    assert abs(told - datetime.now(UTC)) < timedelta(seconds=5)


def test_a_name_is_its_own_and_survives_as_the_name_of_an_application() -> None:
    names = {new_name() for _ in range(50)}

    assert len(names) == 50
    assert all(name.isascii() and len(name) <= 63 for name in names)
