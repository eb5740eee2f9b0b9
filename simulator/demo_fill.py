"""Fill the store with the simulated week, through the same pipeline that takes live shots."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.actions import limits as limit_actions
from collector.actions import limits_steady, limits_study
from collector.actions import recipes as recipe_actions
from collector.actions.limits_confirmed import Confirmed
from collector.alarms.gauged import judge_new
from collector.clock import ServiceClock
from collector.jobs.gauged import tolerances
from collector.pipeline import Pipeline, engine_policy, intake_policy
from collector.settings import Settings
from collector.sources.incoming import Incoming
from collector.store import database
from collector.store.tables import runs
from simulator.demo_people import People
from simulator.demo_story import LIVE_START, MONDAY, Told, moment
from simulator.floor import post
from simulator.publisher import to_message

STEP = timedelta(minutes=15)
PRESSES = (1, 2)
WEEK_START = MONDAY - timedelta(days=1)  # Sunday's qualification runs come first
# By how much a setpoint may differ from the recipe before that is a signal; common practice, no source.
ALLOWED = {
    "injection_speed": 2.0,
    "injection_pressure_limit": 5.0,
    "hold_pressure": 2.0,
    "hold_time": 0.5,
    "cooling_time": 1.0,
    "coolant_supply_temperature": 1.0,
}


class StoryClock:
    """A service clock that stands where the story is."""

    def __init__(self) -> None:
        self.now = WEEK_START
        self.clock = ServiceClock(
            wall_anchor=self.now, service_anchor=self.now, speed=1.0, wall=lambda: self.now
        )


def fill(
    engine: sa.Engine,
    settings: Settings,
    told: Iterator[Told],
    *,
    people: People,
    progress: Callable[[datetime], None],
) -> Told:
    """Tell the story up to the live part.

    Parameters
    ----------
    engine : Engine
        An empty, upgraded store.
    settings : Settings
    told : iterator
        The story from its beginning.
    people : People
        They act after every quarter of an hour of the story.
    progress : callable
        Called with the floor time up to which the week is told.

    Returns
    -------
    Told
        The first record of the live part, which is not stored.
    """
    at = StoryClock()
    pipeline = Pipeline(
        engine,
        policy=engine_policy(settings),
        intake=intake_policy(settings),
        clock=at.clock,
        wall=lambda: at.now,
    )
    qualify_recipes(engine, at.clock)
    approved = False
    for until, batch in _steps(told):
        if isinstance(batch, list):
            if not approved and until > MONDAY:
                at.now = MONDAY
                approve_limits(engine, settings, at.clock)
                approved = True
            at.now = until
            pipeline.take(batch)
            with database.write(engine) as conn:
                judge_new(conn, tolerances(settings), now=at.now, wall=at.now)
            people.act(at.clock)
            progress(until)
        else:
            return batch
    raise AssertionError("the story never ends")


def _steps(told: Iterator[Told]) -> Iterator[tuple[datetime, list[Incoming] | Told]]:
    """Messages of each quarter of an hour with the time they end at, then the first live record."""
    until, batch = WEEK_START, list[Incoming]()
    for number, record in enumerate(told):
        when = moment(record)
        if when >= LIVE_START:
            yield LIVE_START, batch
            yield LIVE_START, record
            return
        if when > until:
            if batch:
                yield until, batch
            batch = []
            until += STEP * -(-(when - until) // STEP)
        message = to_message(record)
        batch.append(Incoming(message.topic, message.payload, "mqtt", f"story:{number}"))


def qualify_recipes(engine: sa.Engine, clock: ServiceClock) -> None:
    """The recipes of both presses, as the technician qualified them."""
    for number in PRESSES:
        place = post(number)
        setpoints = {
            key: {"setpoint": value, "allowed": ALLOWED[key]}
            for key, value in place.setup.settings.by_key().items()
            if key in ALLOWED
        }
        recipe_actions.qualify(
            engine,
            place.recipe,
            1,
            mold=place.setup.mold.name,
            blend=place.setup.blend.name,
            setpoints=setpoints,
            who="technician 1",
            why="approved after its first run",
            clock=clock,
        )


def approve_limits(engine: sa.Engine, settings: Settings, clock: ServiceClock) -> None:
    """Limits of both presses from Sunday's qualification runs; the technician confirms what there is to."""
    policy = engine_policy(settings)
    with database.read(engine) as conn:
        qualified = conn.execute(sa.select(runs.c.id).order_by(runs.c.id)).scalars().all()
    for run_id in qualified:
        with database.read(engine) as conn:
            steady = limits_steady.read_steady(conn, run_id, policy)
        proposals = [limits_study.propose_key(steady, key) for key in steady.keys]
        limit_actions.approve(
            engine,
            steady,
            proposals,
            confirmed={each.key: Confirmed() for each in proposals if each.to_confirm},
            who="technician 1",
            why="qualification run on Sunday, no fault found",
            clock=clock,
        )
