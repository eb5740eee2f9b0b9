"""The faults that a floor must survive, one function each; each ends with the fault mended.

`says` holds the collector to its word: while the fault lasts, its log tells of it in these words.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random

from simulator.messages import Message
from tests.faults.collector_process import wait_until
from tests.faults.floor import Floor
from tests.faults.stores import PostgresStore

BOTH = ("sqlite", "postgresql")
SAVED_S = 2.5  # with `autosave_interval 1` Mosquitto has saved by then what it acknowledged
HOURS = 3600.0
READ_ONLY = ("may only be read", "may write in it")  # found so, or not even to be opened


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One kind of fault.

    Attributes
    ----------
    what : str
        In words, for the table.
    inject : callable or None
        Puts the fault in once and mends it.
    disturb : callable or None
        What becomes of the messages on their way instead, and how many disturbances that is.
    after : callable or None
        What a person does once everything is published.
    databases : tuple of str
    says : tuple of str
        Words of the collector's log about it, one of which must be there; empty where nothing need be.
    needs_mount : bool
        Only where a small file system can be mounted.
    loses : bool
        Whether the broker may lose what it had not saved yet; then a gap must say so.
    """

    what: str
    inject: Callable[[Floor, Random], None] | None = None
    disturb: Callable[[list[Message], Random], tuple[list[Message], int]] | None = None
    after: Callable[[Floor], None] | None = None
    databases: tuple[str, ...] = BOTH
    says: tuple[str, ...] = ()
    needs_mount: bool = False
    loses: bool = False


def collector_killed(floor: Floor, random: Random) -> None:
    """kill -9, and started again at once or a while later."""
    floor.collector.kill()
    time.sleep(random.choice((0.0, 1.0)))
    floor.collector.start()


def network_cut(floor: Floor, random: Random) -> None:
    """The gateways, the collector or both lose the broker for a while."""
    cut = random.choice(
        ((floor.to_broker,), (floor.from_broker,), (floor.to_broker, floor.from_broker))
    )
    for proxy in cut:
        proxy.cut()
    time.sleep(random.uniform(0.3, 2.0))
    for proxy in cut:
        proxy.mend()


def network_hangs(floor: Floor, random: Random) -> None:
    """A cable is out: nothing passes, nobody is told; then the connections break and come again."""
    floor.from_broker.hang()
    time.sleep(random.uniform(1.0, 4.0))
    floor.from_broker.cut()
    floor.from_broker.flow()
    floor.from_broker.mend()


def broker_killed(floor: Floor, random: Random) -> None:
    """kill -9 of Mosquitto, and started again; it has saved by then who is subscribed."""
    time.sleep(max(0.0, floor.connected_at + SAVED_S - time.monotonic()))
    killed_at = time.monotonic()
    floor.broker.kill()
    time.sleep(random.uniform(0.1, 0.6))
    floor.broker_away.append((killed_at, time.monotonic()))
    floor.broker.start()


def disk_full(floor: Floor, random: Random) -> None:
    """No byte is left; sometimes the collector is killed and started meanwhile."""
    before = floor.collector.place()
    floor.store.full()
    _wait_until_it_tells(floor, ("has no space left",), before)
    if random.random() < 0.5:
        floor.collector.kill()
        floor.collector.start()
        time.sleep(1.0)
    floor.store.roomy()


def database_restarted(floor: Floor, random: Random) -> None:
    """The server dies as in a power cut and comes again."""
    store = _postgres(floor)
    store.stopped()
    time.sleep(random.uniform(0.2, 2.0))
    store.started()


def database_away_at_start(floor: Floor, random: Random) -> None:
    """The computer boots: the collector is up before its database."""
    store = _postgres(floor)
    store.stopped()
    floor.collector.kill()
    floor.collector.start()
    wait_until(lambda: floor.collector.has_said("cannot be reached"), timeout_s=60, what="it says so")
    time.sleep(random.uniform(0.0, 1.0))
    store.started()


def database_cut(floor: Floor, random: Random) -> None:
    """The network between collector and database breaks."""
    assert floor.to_database is not None, "PostgreSQL is reached through a relay"
    floor.to_database.cut()
    time.sleep(random.uniform(0.3, 2.0))
    floor.to_database.mend()


def database_locked(floor: Floor, random: Random) -> None:
    """Somebody holds a lock for longer than a writer waits."""
    before = floor.collector.place()
    holder = threading.Thread(target=floor.store.locked, args=(random.uniform(10.0, 12.0),))
    holder.start()
    _wait_until_it_tells(floor, ("is locked by another process",), before)
    holder.join()


def database_read_only(floor: Floor, random: Random) -> None:
    """Nothing may be written; with SQLite found at the start, for an open file cannot become read-only."""
    before = floor.collector.place()
    restart = not isinstance(floor.store, PostgresStore)
    if restart:
        floor.collector.kill()
        floor.engine.dispose()
    floor.store.read_only()
    if restart:
        floor.collector.start()
    if restart:  # it serves nothing before it has a store
        wait_until(lambda: _has_said(floor, READ_ONLY, before), timeout_s=60, what="its log says so")
    else:
        _wait_until_it_tells(floor, READ_ONLY, before)
    time.sleep(random.uniform(0.0, 1.0))
    floor.store.writable()


def computer_clock_steps(floor: Floor, random: Random) -> None:
    """The clock of our computer goes wrong for a while; sometimes the collector does not outlive that."""
    hours = random.choice((-40.0, -1.0, -0.1, 1.0, 30.0))
    floor.step_file.write_text(str(hours * HOURS), encoding="ascii")
    time.sleep(random.uniform(0.5, 1.5))
    killed = random.random() < 0.5
    if killed:
        floor.collector.kill()
    floor.step_file.write_text("0", encoding="ascii")
    if killed:
        floor.collector.start()


def take_refused_again(floor: Floor) -> None:
    """Shots that lay in the future of a wrong clock were kept; a person has them taken again."""
    floor.command("refused", "--replay")


def doubled_and_disordered(messages: list[Message], random: Random) -> tuple[list[Message], int]:
    """One in ten shots comes twice, one in ten a few places later, as of two gateways or after a cut."""
    places: list[tuple[float, Message]] = []
    disturbed = 0
    for number, message in enumerate(messages):
        is_shot = message.topic.endswith("/shot")
        late = random.randint(2, 9) if is_shot and random.random() < 0.1 else 0
        places.append((number + late + 0.5 * bool(late), message))
        disturbed += bool(late)
        if is_shot and random.random() < 0.1:
            places.append((number + random.randint(1, 40) + 0.25, message))
            disturbed += 1
    return [message for _, message in sorted(places, key=lambda each: each[0])], disturbed


def press_clock_steps(messages: list[Message], _random: Random) -> tuple[list[Message], int]:
    """The clock of a press is put an hour ahead, and back a third of the story later."""
    ours = [n for n, each in enumerate(messages) if each.sender == "P1" and each.topic.endswith("/shot")]
    ahead = set(ours[len(ours) // 3 : 2 * len(ours) // 3])
    return [_an_hour_later(each) if n in ahead else each for n, each in enumerate(messages)], 2


def _an_hour_later(message: Message) -> Message:
    body = json.loads(message.payload)
    body["ended_at"] = (datetime.fromisoformat(body["ended_at"]) + timedelta(hours=1)).isoformat()
    return Message(message.sender, message.topic, json.dumps(body).encode(), message.retain)


def _has_said(floor: Floor, words: tuple[str, ...], since: int) -> bool:
    return any(floor.collector.has_said(each, since) for each in words)


def _wait_until_it_tells(floor: Floor, words: tuple[str, ...], since: int) -> None:
    """The log tells of the fault, and so does /health, as long as it lasts."""
    wait_until(lambda: _has_said(floor, words, since), timeout_s=60, what="its log says so")
    wait_until(
        lambda: any(floor.health_says(each) for each in words), timeout_s=20, what="its health says so"
    )


def _postgres(floor: Floor) -> PostgresStore:
    assert isinstance(floor.store, PostgresStore), "SQLite has no server"
    return floor.store


FAULTS: dict[str, Fault] = {
    "collector_killed": Fault(what="collector killed -9", inject=collector_killed),
    "network_cut": Fault(what="network cut", inject=network_cut),
    "network_hangs": Fault(what="network hangs, then breaks", inject=network_hangs),
    "broker_killed": Fault(what="broker killed -9", inject=broker_killed, loses=True),
    "doubled_and_disordered": Fault(what="doubled, out of order", disturb=doubled_and_disordered),
    "disk_full": Fault(
        what="disk full", inject=disk_full, says=("has no space left",), needs_mount=True
    ),
    "database_restarted": Fault(
        what="database restarted", inject=database_restarted, databases=("postgresql",)
    ),
    "database_away_at_start": Fault(
        what="database away at the start", inject=database_away_at_start, databases=("postgresql",),
        says=("cannot be reached",),
    ),
    "database_cut": Fault(
        what="network to the database cut", inject=database_cut, databases=("postgresql",)
    ),
    "database_locked": Fault(
        what="database locked", inject=database_locked, says=("is locked by another process",)
    ),
    "database_read_only": Fault(
        what="database read-only", inject=database_read_only, says=READ_ONLY, needs_mount=True
    ),
    "computer_clock_steps": Fault(
        what="our clock steps", inject=computer_clock_steps, after=take_refused_again
    ),
    "press_clock_steps": Fault(what="a press's clock steps", disturb=press_clock_steps),
}
