"""Two collectors on one PostgreSQL: one is killed, later another stands still and wakes up again.

The truth is outside of what is tested: the list of counters that was published, and the whole-array form of
the charts over the values as they stand in the store.
"""

from __future__ import annotations

import json
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import sqlalchemy as sa

from collector.contract.times import to_text
from collector.contract.topics import press_topic
from collector.leases.division import names, part_of
from collector.store import database, leases
from collector.store.leases import Lease
from collector.store.tables import presses, refusals, shots
from simulator.messages import Message
from simulator.publisher import Gateways
from tests.benchmarks.ten_characteristics import LEVELS
from tests.faults.collector_process import CollectorProcess, wait_until
from tests.faults.truth import differences
from tests.mosquitto_fixtures import Mosquitto

SITE = "lowland"
CLIENT = "evenrun-collector"
SEED = 20
PRESSES = 8
CYCLE_S = 60.0
LOOK_S = 0.02


@dataclass
class Report:
    """What was seen.

    Attributes
    ----------
    sent, stored, lost, doubled, refused : int
        Shots.
    killed_s, killed_shot_s : float
        From the kill to the lease in other hands, and to the first shot that those stored, in seconds.
    paused_s, paused_shot_s : float
        The same from the moment a collector was made to stand still.
    backlog : int
        Most shots that were published and not stored yet.
    rate_per_s : float
        Shots stored a second, from the first to the last.
    differences : list of str
        Signals that the stream and the whole-array form do not share.
    compared : int
        Signals that they share.
    """

    sent: int = 0
    stored: int = 0
    lost: int = 0
    doubled: int = 0
    refused: int = 0
    killed_s: float = 0.0
    killed_shot_s: float = 0.0
    paused_s: float = 0.0
    paused_shot_s: float = 0.0
    backlog: int = 0
    rate_per_s: float = 0.0
    compared: int = 0
    differences: list[str] = field(default_factory=list)


class StoppableProcess(CollectorProcess):
    """A collector that can also be made to stand still."""

    def stand_still(self) -> None:
        self._signal(signal.SIGSTOP)

    def wake_up(self) -> None:
        self._signal(signal.SIGCONT)

    def holds(self, lease: Lease) -> bool:
        """Whether a lease is this process's, which its name tells."""
        assert self._process is not None, "it was started before"
        return f"-{self._process.pid}-" in (lease.holder or "")

    def _signal(self, number: int) -> None:
        assert self._process is not None, "it was started before"
        self._process.send_signal(number)


def made(count: int) -> list[Message]:
    """So many shots of ten characteristics; one press's core is warmer by one degree in the last third."""
    start = datetime.now(UTC) - timedelta(seconds=CYCLE_S * (count // PRESSES + 60))
    noise = np.random.default_rng(SEED).standard_normal((count, len(LEVELS)))
    return [_message(number, count, start, noise[number]) for number in range(count)]


def _message(number: int, count: int, start: datetime, noise: np.ndarray) -> Message:
    press, turn = f"P{number % PRESSES + 1}", number // PRESSES
    drawn = zip(LEVELS.items(), noise, strict=True)
    values = {key: round(at + sigma * z, 4) for (key, (at, sigma)), z in drawn}
    if press == "P1" and number > 2 * count // 3:
        values["mold_core_temperature"] += 1.0
    body = {
        "press": press, "counter": 1000 + turn, "run": f"R-{press}", "values": values,
        "ended_at": to_text(start + timedelta(seconds=CYCLE_S * turn)),
    }  # fmt: skip
    return Message(press, press_topic(SITE, press, "shot"), json.dumps(body).encode())


class Watched:
    """The store, looked at from outside."""

    def __init__(self, url: str) -> None:
        self.engine = database.open_engine(url)
        database.upgrade(self.engine)

    def leases(self) -> list[Lease]:
        with database.read(self.engine) as conn:
            return [each for each in leases.of_site(conn, SITE) if each.parts == 2]

    def stored(self) -> int:
        with database.read(self.engine) as conn:
            return conn.execute(sa.select(sa.func.count()).select_from(shots)).scalar_one()

    def newest(self, parts: set[int]) -> int:
        """The newest shot of the presses of some parts; 0 while there is none."""
        mine = [f"P{number}" for number in range(1, PRESSES + 1) if part_of(f"P{number}", 2) in parts]
        query = sa.select(sa.func.max(shots.c.id)).join(presses, presses.c.id == shots.c.press_id)
        with database.read(self.engine) as conn:
            return conn.execute(query.where(presses.c.name.in_(mine))).scalar_one() or 0


def take_over(folder: Path, broker: Mosquitto, url: str, *, count: int, rate_per_s: float) -> Report:
    """Run the story.

    Parameters
    ----------
    folder : Path
        For the logs.
    broker : Mosquitto
    url : str
        An empty PostgreSQL database.
    count : int
        Shots to publish.
    rate_per_s : float
        How many a second.
    """
    store, report = Watched(url), Report(sent=count)
    collectors = [_started(folder, broker, url, number) for number in (1, 2)]
    first, second = collectors
    wait_until(lambda: _settled(store, collectors), timeout_s=90, what="each collector has one part")
    messages, published = made(count), [0]
    publisher = threading.Thread(target=_publish, args=(messages, broker, rate_per_s, published))
    began = time.monotonic()
    publisher.start()

    wait_until(lambda: published[0] > 0.15 * count, timeout_s=120, what="a part of the shots is published")
    report.killed_s, report.killed_shot_s = _until_others_have(store, first, first.kill)
    third = _started(folder, broker, url, 3)
    wait_until(lambda: _settled(store, [second, third]), timeout_s=60, what="the new one has a part")

    wait_until(lambda: published[0] > 0.5 * count, timeout_s=300, what="half of the shots are published")
    report.backlog = published[0] - store.stored()
    report.paused_s, report.paused_shot_s = _until_others_have(store, second, second.stand_still)
    time.sleep(1.0)
    report.backlog = max(report.backlog, published[0] - store.stored())
    second.wake_up()

    publisher.join(300)
    wait_until(lambda: store.stored() >= count, timeout_s=300, what="every shot is stored")
    report.rate_per_s = count / (time.monotonic() - began)
    time.sleep(1.0)  # a doubled shot would come now
    for each in (second, third):
        assert each.stop() == 0
    _judge(store, messages, report)
    store.engine.dispose()
    return report


def _started(folder: Path, broker: Mosquitto, url: str, number: int) -> StoppableProcess:
    environment = {
        "EVENRUN_DATABASE_URL": url,
        "EVENRUN_BROKER__PORT": str(broker.port),
        "EVENRUN_BROKER__USER": "collector",
        "EVENRUN_BROKER__PASSWORD": broker.users["collector"],
        "EVENRUN_BROKER__CLIENT_ID": CLIENT,
        "EVENRUN_LEASES__PARTS": "2",
    }
    process = StoppableProcess(environment, folder / f"collector-{number}.log")
    process.start()
    return process


def _settled(store: Watched, collectors: Sequence[StoppableProcess]) -> bool:
    """Whether every collector has a part, and the broker keeps the messages of both."""
    found = store.leases()
    ready = len(found) == len(names(CLIENT, 2)) and all(each.ready_at is not None for each in found)
    return ready and all(any(each.holds(lease) for lease in found) for each in collectors)


def _until_others_have(
    store: Watched, process: StoppableProcess, fault: Callable[[], None]
) -> tuple[float, float]:
    """Seconds from a fault to the process's presses in other hands, and to their first shot from those."""
    parts = {lease.part for lease in store.leases() if process.holds(lease)}
    began = time.monotonic()
    fault()
    while any(process.holds(lease) for lease in store.leases()):
        assert time.monotonic() < began + 60, "nobody took over"
        time.sleep(LOOK_S)
    taken_s, before = time.monotonic() - began, store.newest(parts)
    while store.newest(parts) == before:
        assert time.monotonic() < began + 60, "nobody stored shots of these presses"
        time.sleep(LOOK_S)
    return taken_s, time.monotonic() - began


def _publish(messages: Sequence[Message], broker: Mosquitto, rate_per_s: float, published: list[int]) -> None:
    began = time.monotonic()
    with Gateways("127.0.0.1", broker.port, user="gateway", password=broker.users["gateway"]) as gateways:
        for number, message in enumerate(messages):
            wait_s = number / rate_per_s - (time.monotonic() - began)
            if wait_s > 0.005:
                time.sleep(wait_s)
            gateways.send(message)
            published[0] = number + 1


def _judge(store: Watched, messages: Sequence[Message], report: Report) -> None:
    with database.read(store.engine) as conn:
        query = sa.select(presses.c.name, shots.c.counter).join(presses, presses.c.id == shots.c.press_id)
        found = Counter((row[0], row[1]) for row in conn.execute(query))
        report.refused = conn.execute(sa.select(sa.func.count()).select_from(refusals)).scalar_one()
        report.differences, report.compared = differences(conn)
    sent = {(each.sender, json.loads(each.payload)["counter"]) for each in messages}
    report.stored = sum(found.values())
    report.lost = len(sent - set(found))
    report.doubled = report.stored - len(found)
