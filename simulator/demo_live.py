"""The live floor of the demo: gateways that publish as the service clock passes each record."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import EvenrunError, StoreUnavailable
from collector.settings import Settings
from collector.store import clock as stored_clock
from collector.store import database, heartbeats
from collector.store import people as accounts
from collector.store.tables import presses
from simulator.demo_people import People
from simulator.demo_story import LIVE_START, Told, moment
from simulator.publisher import Gateways, to_message

log = logging.getLogger("evenrun.demo")

LOOK_S = 0.05  # wall seconds between looks at the clock
WEEK_ENDS_WITHIN = timedelta(minutes=30)  # the last shots of Friday's shift
ACCOUNTS = (
    "This store has accounts now: the invented people have none, so they answer no alarm and decide about no "
    "hold any more."
)
PEOPLE_S = 2.0  # wall seconds between looks at the alarms


def resume_from(engine: sa.Engine) -> datetime | None:
    """Story time to go on from: the older press's newest stored shot; None in a new store.

    What was sent after it may or may not have been stored; it is sent again, and a shot that is known
    changes nothing.
    """
    with database.read(engine) as conn:
        newest = conn.execute(sa.select(sa.func.min(presses.c.last_shot_at))).scalar_one()
    return None if newest is None else max(newest, LIVE_START)


def week_is_whole(store: Path) -> bool:
    """Whether a store holds the whole simulated week; a filling that was cut short cannot go on."""
    if not store.exists():
        return True
    engine = database.open_engine(f"sqlite:///{store.as_posix()}")
    database.upgrade(engine)
    with database.read(engine) as conn:
        newest = conn.execute(sa.select(sa.func.min(presses.c.last_shot_at))).scalar_one()
    engine.dispose()
    return newest is not None and newest > LIVE_START - WEEK_ENDS_WITHIN


def set_clock(engine: sa.Engine, *, at: datetime, speed: float, clock: ServiceClock) -> ServiceClock:
    """Let the service clock go on from story time `at` now, and keep it for the other processes."""
    wall = clock.wall()
    going = ServiceClock(wall_anchor=wall, service_anchor=at, speed=speed, wall=clock.wall)
    with database.write(engine) as conn:
        stored_clock.save(conn, going)
    return going


def last_floor_time(engine: sa.Engine) -> datetime | None:
    """Service time of the collector's last sign of life."""
    with database.read(engine) as conn:
        beat = heartbeats.last(conn, heartbeats.COLLECTOR)
    return None if beat is None else beat.at


class LiveFloor:
    """Publishes the story in a thread until stopped.

    Parameters
    ----------
    told : iterator
        The story from where it goes on.
    settings : Settings
        Where the broker is.
    clock : ServiceClock
    """

    def __init__(self, told: Iterator[Told], *, settings: Settings, clock: ServiceClock) -> None:
        self._told = told
        self._settings = settings
        self._clock = clock
        self._stop = threading.Event()
        self.failure: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="floor", daemon=True)

    def start(self) -> None:
        """Start publishing."""
        self._thread.start()

    def stop(self) -> None:
        """Stop after the record in hand."""
        self._stop.set()
        self._thread.join(timeout=10.0)

    def _run(self) -> None:
        broker = self._settings.broker
        try:
            with Gateways(broker.host, broker.port, user=broker.user, password=broker.secret()) as gateways:
                for record in self._told:
                    if not self._wait_until(moment(record)):
                        return
                    gateways.send(to_message(record))
        except (OSError, EvenrunError) as error:
            self.failure = error

    def _wait_until(self, when: datetime) -> bool:
        while self._clock.now() < when:
            if self._stop.wait(LOOK_S):
                return False
        return not self._stop.is_set()


class LivePeople:
    """Lets the demo's people act every now and then, in a thread."""

    def __init__(self, people: People, clock: ServiceClock, *, tell: Callable[[str], None]) -> None:
        self._people, self._tell = people, tell
        self._clock = clock
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="people", daemon=True)

    def start(self) -> None:
        """Start looking after the alarms."""
        self._thread.start()

    def stop(self) -> None:
        """Stop."""
        self._stop.set()
        self._thread.join(timeout=10.0)

    def _run(self) -> None:
        while not self._stop.wait(PEOPLE_S):
            try:
                if self._may_not_act():
                    self._tell(ACCOUNTS)
                    return
                self._people.act(self._clock)
            except StoreUnavailable as error:
                log.warning("the people wait: %s", error)
            except EvenrunError as error:
                # Somebody at the screen was quicker with the same alarm.
                log.info("%s", error)

    def _may_not_act(self) -> bool:
        with database.read(self._people.engine) as conn:
            return accounts.is_enforced(conn)
