"""`evenrun demo`: broker, collector, screens and two simulated presses, from nothing."""

from __future__ import annotations

import contextlib
import signal
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import chain, dropwhile
from pathlib import Path
from typing import Annotated

import sqlalchemy as sa
import typer
from rich.console import Console

from collector.cli.moments import weekday
from collector.clock import ServiceClock, real_clock, wall_now
from collector.errors import EvenrunError
from collector.settings import Settings
from collector.store import database, heartbeats
from simulator.demo_fill import WEEK_START, fill
from simulator.demo_live import (
    LiveFloor,
    LivePeople,
    last_floor_time,
    resume_from,
    set_clock,
    week_is_whole,
)
from simulator.demo_people import People, Tolerance
from simulator.demo_places import Places, prepare
from simulator.demo_story import LIVE_START, MONDAY, Told, moment, story
from simulator.demo_telling import filling
from simulator.faults import Episode
from simulator.processes import Children
from simulator.scenarios import live_episodes, week_episodes

SEED = 20
DOME = {"Alder 9": Tolerance(2.9, 3.6), "Larch 5": Tolerance(2.4, 3.05)}
MOLD_ON = {"P1": "Alder 9", "P2": "Larch 5"}
WATCH_S = 0.5
# On the fast clock whoever watches the demo shall have the time to handle an alarm first.
LIVE_WAIT = timedelta(minutes=90)
START_S = 30.0
FILLING = (
    "Filling the store with a simulated week of two presses, once; it takes a minute or two. "
    "The address of the screens comes then."
)


def demo(
    data: Annotated[
        Path, typer.Option(help="Folder for the demo's store, settings and logs; delete it to begin anew.")
    ] = Path("evenrun-data/demo"),
    speed: Annotated[
        float, typer.Option(min=1.0, max=600.0, help="Seconds on the floor per second on your watch.")
    ] = 60.0,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port of the screens; 0 takes a free one.")
    ] = 8501,
) -> None:
    """Run the whole service with two simulated presses, on a fast clock.

    Starts the built-in broker, the collector and the screens, fills the store with a simulated week at the
    first start, and goes on live from there. Open the address it prints. Ctrl-C ends everything it started;
    started again, it goes on with the same data. Every value is invented.
    """
    for number in (signal.SIGINT, signal.SIGTERM):  # both end it in good order, even in the background
        signal.signal(number, signal.default_int_handler)
    places = Places(data.resolve())
    settings = prepare(places, port, DOME)
    console = Console(stderr=True)
    with contextlib.suppress(KeyboardInterrupt):
        _run(places, settings, speed, console)
    console.print("Ended. Started again, the demo goes on from here.")


def _run(places: Places, settings: Settings, speed: float, console: Console) -> None:
    """Start everything, and stay until something fails or Ctrl-C is pressed."""
    if not week_is_whole(places.database):
        _forget(places.database)
    engine = database.open_engine(settings.database_url)
    with ExitStack() as stack:
        stack.callback(engine.dispose)
        children = stack.enter_context(Children(places.logs))
        children.start("broker", ["broker"])
        database.upgrade(engine)
        children.start("dashboard", ["dashboard"])
        told, clock = _told_until_now(engine, settings, speed, console)
        _wait_for_port("dashboard", settings.dashboard_port, children)
        address = f"http://localhost:{settings.dashboard_port}"
        console.print(f"Screens: [bold]{address}[/bold] (Ctrl-C ends the demo)")
        _wait_for_port("broker", settings.broker.port, children)
        children.start("collector", ["collect"])
        _wait_for_collector(engine, children)
        floor = LiveFloor(told, settings=settings, clock=clock)
        unhurried = replace(_people(engine), acknowledged_after=LIVE_WAIT, closed_after=LIVE_WAIT)
        people = LivePeople(unhurried, clock, tell=console.print)
        stack.callback(people.stop)
        stack.callback(floor.stop)
        floor.start()
        people.start()
        console.print(f"Live: floor time {weekday(clock.now())}, {speed:g} times faster than your watch")
        console.print("Invented people gauge discs, and answer an alarm when nobody else did for 90 minutes.")
        _watch(children, floor)


def _forget(store: Path) -> None:
    """Delete a store whose first filling was cut short; the same week is told again."""
    for suffix in ("", "-wal", "-shm"):
        store.with_name(store.name + suffix).unlink(missing_ok=True)


def _told_until_now(
    engine: sa.Engine, settings: Settings, speed: float, console: Console
) -> tuple[Iterator[Told], ServiceClock]:
    """Fill an empty store with the week, or find the place where an earlier demo stopped."""
    told = story(SEED)
    resumed = resume_from(engine)
    if resumed is None:
        with filling(console, FILLING, first=WEEK_START, last=LIVE_START) as progress:
            first = fill(engine, settings, told, people=_people(engine), progress=progress)
        at = LIVE_START
    else:
        console.print(f"Going on where the demo stopped: floor time {weekday(resumed)}")
        first = next(dropwhile(lambda record: moment(record) <= resumed, told))
        at = max(resumed, last_floor_time(engine) or resumed)
    return chain([first], told), set_clock(engine, at=at, speed=speed, clock=real_clock())


def _people(engine: sa.Engine) -> People:
    week = week_episodes(MONDAY)
    unwatched = next(episode for episode in week if episode.fault == "blocked_coolant_core")

    def episodes(until: datetime) -> list[Episode]:
        running: list[Episode] = list(week)
        for episode in live_episodes(SEED, LIVE_START):
            if episode.start > until:
                return running
            running.append(episode)
        return running

    dome = {press: DOME[mold] for press, mold in MOLD_ON.items()}
    return People(engine, episodes, dome, unwatched)


def _wait_for_port(name: str, port: int, children: Children) -> None:
    """Wait until a process answers on its port."""

    def answers() -> bool:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1.0):
            return True
        return False

    _wait_for(name, answers, children)


def _wait_for_collector(engine: sa.Engine, children: Children) -> None:
    """Wait until the collector's session is there: what is sent before it, the broker throws away."""
    began = wall_now()

    def listens() -> bool:
        with database.read(engine) as conn:
            beat = heartbeats.last(conn, heartbeats.COLLECTOR)
        return beat is not None and beat.wall_at > began and beat.detail.get("broker") == "connected"

    _wait_for("collector", listens, children)


def _wait_for(name: str, ready: Callable[[], bool], children: Children) -> None:
    until = time.monotonic() + START_S
    while not ready():
        children.check()
        if time.monotonic() > until:
            raise EvenrunError(f"the {name} did not start within {START_S:g} s: {children.last_line(name)}")
        time.sleep(0.1)


def _watch(children: Children, floor: LiveFloor) -> None:
    """Stay until something fails."""
    while True:
        time.sleep(WATCH_S)
        children.check()
        if floor.failure is not None:
            raise EvenrunError(f"the simulated floor stopped: {floor.failure}") from floor.failure
