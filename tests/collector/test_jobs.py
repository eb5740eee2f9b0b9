"""Timed jobs: one collector does each, its result is kept, and what was missed is said.

That a claim is an update which must change exactly one row is common practice, no source.
"""

from __future__ import annotations

import importlib
import pkgutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random
from threading import Barrier

import pytest
import sqlalchemy as sa

from collector import jobs
from collector.clock import ServiceClock
from collector.errors import StoreUnavailable
from collector.jobs.job import Job, Shop
from collector.jobs.runner import run_if_due
from collector.settings import Settings
from collector.store import database
from collector.store.jobs import Result, last_results
from collector.vitals import Vitals

WALL = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
HOUR = 3600.0


def shop(engine: sa.Engine, *, after_s: float = 0.0) -> Shop:
    wall = WALL + timedelta(seconds=after_s)
    clock = ServiceClock(wall_anchor=WALL, service_anchor=WALL, wall=lambda: wall)
    return Shop(
        engine=engine, settings=Settings(), clock=clock, random=Random(20), deliver_soon=lambda: None,
        vitals=Vitals(WALL, broker=lambda: None, protocol=lambda: "5", in_hand=lambda: 0),
    )  # fmt: skip


def job(**changed: object) -> Job:
    return replace(Job(name="hourly", every_s=HOUR, work=lambda _: "done"), **changed)  # type: ignore[arg-type]


def result(engine: sa.Engine) -> Result:
    with database.read(engine) as conn:
        (one,) = last_results(conn)
    return one


def test_a_job_runs_once_an_interval_also_over_a_restart(engine: sa.Engine) -> None:
    ran = [run_if_due(job(), shop(engine, after_s=after_s)) for after_s in (0, 60, 3540, 3600, 3660, 7200)]
    assert ran == [True, False, True, False, False, True]
    assert (result(engine).outcome, result(engine).failed, result(engine).missed) == ("done", False, None)


def test_of_many_collectors_one_does_it(engine: sa.Engine) -> None:
    together = Barrier(4)

    def collector(_: int) -> bool:
        together.wait()
        return run_if_due(job(), shop(engine))

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(collector, range(4))) == 1


def test_a_job_of_a_site_is_done_once_at_each(engine: sa.Engine) -> None:
    here, twin = shop(engine), shop(engine)
    far = replace(here, settings=Settings(site="upland"))
    own = job(of_site=True)
    assert [run_if_due(own, each) for each in (here, far, twin)] == [True, True, False]
    assert [run_if_due(job(), each) for each in (here, far, twin)] == [True, False, False]


def test_one_that_waits_to_take_over_does_none(engine: sa.Engine) -> None:
    waiting = replace(shop(engine), at_work=lambda: False)

    assert not run_if_due(job(), waiting)
    assert not run_if_due(job(shared=False), waiting)
    assert run_if_due(job(), shop(engine))


@pytest.mark.parametrize(
    ("when_missed", "said"), [("made up", "made up for"), ("declared", "not made up for")]
)
def test_what_was_missed_is_said(engine: sa.Engine, when_missed: str, said: str) -> None:
    run_if_due(job(), shop(engine))
    assert run_if_due(job(when_missed=when_missed), shop(engine, after_s=5 * HOUR))
    missed = result(engine).missed
    assert missed is not None
    assert missed.startswith("4 times not run in time")
    assert said in missed


def test_a_job_that_fails_says_why_and_since_when(engine: sa.Engine) -> None:
    def full(_: Shop) -> str:
        raise StoreUnavailable("the disk is full")

    def defect(_: Shop) -> str:
        raise ZeroDivisionError

    run_if_due(job(work=full), shop(engine))
    assert (result(engine).failed, result(engine).outcome) == (True, "the disk is full")
    run_if_due(job(work=defect), shop(engine, after_s=HOUR))
    assert "ZeroDivisionError" in (result(engine).outcome or "")
    assert result(engine).failed_since == WALL
    run_if_due(job(), shop(engine, after_s=2 * HOUR))
    assert (result(engine).failed, result(engine).failed_since) == (False, None)


def test_a_run_that_was_cut_off_is_done_again(engine: sa.Engine) -> None:
    class Killed(BaseException):
        """What no job may catch."""

    def killed(_: Shop) -> str:
        raise Killed

    with pytest.raises(Killed):
        run_if_due(job(work=killed), shop(engine))
    assert result(engine).finished_at is None
    assert run_if_due(job(), shop(engine, after_s=HOUR))
    assert result(engine).outcome == "done"


def test_a_slow_run_is_not_started_twice(engine: sa.Engine) -> None:
    inside = []

    def slow(_: Shop) -> str:
        inside.append(run_if_due(job(longest_s=3 * HOUR), shop(engine, after_s=2 * HOUR)))
        return "slow"

    assert run_if_due(job(work=slow, longest_s=3 * HOUR), shop(engine))
    assert inside == [False]


def test_a_clock_set_back_does_not_stop_a_job(engine: sa.Engine) -> None:
    run_if_due(job(), shop(engine, after_s=48 * HOUR))
    assert run_if_due(job(), shop(engine))
    assert not run_if_due(job(), shop(engine, after_s=60))


def test_a_job_of_the_process_leaves_no_result_and_raises_nothing(engine: sa.Engine) -> None:
    def away(_: Shop) -> None:
        raise StoreUnavailable("the database is away")

    assert not run_if_due(job(work=away, shared=False), shop(engine))
    assert run_if_due(job(shared=False), shop(engine))
    with database.read(engine) as conn:
        assert last_results(conn) == []


def test_every_module_with_a_job_is_listed() -> None:
    found = set()
    for module in pkgutil.iter_modules(jobs.__path__):
        one = getattr(importlib.import_module(f"{jobs.__name__}.{module.name}"), "JOB", None)
        found |= {one.name} if isinstance(one, Job) else set()
    assert found == {one.name for one in jobs.JOBS}
    assert len(found) == len(jobs.JOBS)
