"""From publishing a bad shot to its retained alarm on the broker, against one message to oneself.

    python tests/benchmarks/bench_latency.py [--presses 100] [--speed 10] [--seconds 120]

A whole collector, as `evenrun collect` runs it, on SQLite and Mosquitto. Each press first gets its
provisional limits; then all of them make a shot every 60 s of a clock that runs ten times faster, and about
once a second one shot is far out in one characteristic. The time runs from the call that publishes that shot
to the arrival of the first alarm message of its press that names the characteristic. In the same seconds a
client sends itself one QoS 1 message after the other: the median of that is the yardstick. Goal: p99 <= 20
round trips, and <= 250 ms.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

sys.path[:0] = [str(Path(__file__).parents[2])]
from ten_characteristics import KEYS, LEVELS  # noqa: E402

from collector.store import database  # noqa: E402
from collector.store.tables import shots  # noqa: E402
from tests.faults.collector_process import CollectorProcess, wait_until  # noqa: E402
from tests.mosquitto_fixtures import Mosquitto, new_broker  # noqa: E402

CYCLE_S = 60.0
LIMITS_AFTER = 40  # startup shots, provisional ones, and a few
BAD = ("cushion", "injection_time", "part_weight")
FAR_SIGMA = 40.0
ONE_IN = 17  # shots; has no divisor in common with 100 presses, so that each of them has its turn
SEED = 20
GOAL_RATIO, GOAL_S = 20.0, 0.25


@dataclass
class Floor:
    """So many presses, each with its counter and its noise."""

    presses: int
    start: datetime
    counters: list[int] = field(default_factory=list)
    noise: np.random.Generator = field(default_factory=lambda: np.random.default_rng(SEED))

    def __post_init__(self) -> None:
        self.counters = [0] * self.presses

    def shot(self, press: int, far: str | None = None) -> tuple[str, bytes]:
        """The next shot of a press; far out in one characteristic where asked."""
        number = self.counters[press]
        self.counters[press] += 1
        z = dict(zip(KEYS, self.noise.standard_normal(len(KEYS)).tolist(), strict=True))
        if far is not None:
            z[far] = FAR_SIGMA
        body = {
            "press": f"P{press}", "counter": number, "run": f"R-{press}",
            "ended_at": (self.start + timedelta(seconds=CYCLE_S * number)).isoformat(),
            "values": {key: LEVELS[key][0] + LEVELS[key][1] * z[key] for key in KEYS},
        }  # fmt: skip
        return f"evenrun/1/lowland/P{press}/shot", json.dumps(body).encode()


class Listener:
    """Keeps when each alarm message came."""

    def __init__(self, broker: Mosquitto) -> None:
        self.heard: list[tuple[float, str, set[str]]] = []
        self.client = client(broker, "listener")
        self.client.on_message = self._hear
        self.client.subscribe("evenrun/1/lowland/+/alarm", 1)

    def _hear(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        now = time.perf_counter()
        body = json.loads(message.payload)
        self.heard.append((now, body["press"], set(body["characteristics"])))

    def delay_s(self, sent_at: float, press: str, key: str) -> float | None:
        """From a bad shot to the first message that tells of it."""
        mine = (at for at, name, keys in self.heard if name == press and key in keys)
        return next((at - sent_at for at in mine if at > sent_at), None)


def client(broker: Mosquitto, name: str) -> Client:
    """A connected client with a thread of its own."""
    one = Client(CallbackAPIVersion.VERSION2, f"bench-{name}", protocol=MQTTv5)
    one.username_pw_set("gateway", broker.users["gateway"])
    connected = threading.Event()
    one.on_connect = lambda *_: connected.set()
    one.connect("127.0.0.1", broker.port)
    one.loop_start()
    connected.wait(10)
    return one


def round_trips(broker: Mosquitto, stop: threading.Event) -> list[float]:
    """Send oneself one QoS 1 message after the other; seconds of each."""
    one, back, took = client(broker, "self"), threading.Event(), []
    one.on_message = lambda *_: back.set()
    one.subscribe("bench/self", 1)
    time.sleep(0.5)
    while not stop.wait(0.05):
        back.clear()
        began = time.perf_counter()
        one.publish("bench/self", b"x" * 200, qos=1)
        if back.wait(5):
            took.append(time.perf_counter() - began)
    one.disconnect()
    one.loop_stop()
    return took


def steady_start(floor: Floor, publisher: Client, stored: Iterator[int]) -> None:
    """Let every press make enough shots for its limits, as fast as the collector takes them."""
    sent = 0
    for press in range(floor.presses):  # one after the other, as limits are made in a shop
        for _ in range(LIMITS_AFTER):
            publisher.publish(*floor.shot(press), qos=1)
            sent += 1
    wait_until(lambda: next(stored) >= sent, timeout_s=300, what="every press has its limits")


def live(floor: Floor, publisher: Client, *, speed: float, seconds: float) -> list[tuple[float, str, str]]:
    """Shots at their pace; when each bad one was sent, of which press, in which characteristic."""
    sent: list[tuple[float, str, str]] = []
    gap_s = CYCLE_S / speed / floor.presses
    began = time.perf_counter()
    for number in range(int(seconds / gap_s)):
        wait_s = began + number * gap_s - time.perf_counter()
        if wait_s > 0:
            time.sleep(wait_s)
        press = number % floor.presses
        far = None if number % ONE_IN else BAD[number // ONE_IN // floor.presses % len(BAD)]
        topic, payload = floor.shot(press, far)
        if far is not None:
            sent.append((time.perf_counter(), f"P{press}", far))
        publisher.publish(topic, payload, qos=1)
    time.sleep(2.0)
    return sent


def count_stored(url: str) -> Iterator[int]:
    """How many shots are stored, asked anew at each turn."""
    engine = database.open_engine(url)
    try:
        while True:
            with database.read(engine) as conn:
                yield conn.exec_driver_sql(f"SELECT count(*) FROM {shots.name}").scalar_one()
    finally:
        engine.dispose()


def measure(broker: Mosquitto, folder: Path, *, presses: int, speed: float, seconds: float) -> None:
    """Run it and print."""
    url = f"sqlite:///{folder / 'evenrun.db'}"
    environment = {
        "EVENRUN_DATABASE_URL": url, "EVENRUN_BROKER__PORT": str(broker.port),
        "EVENRUN_BROKER__USER": "collector", "EVENRUN_BROKER__PASSWORD": broker.users["collector"],
    }  # fmt: skip
    collector = CollectorProcess(environment, folder / "collector.log")
    collector.start()
    wait_until(collector.connected, timeout_s=60, what="the collector connects")
    publisher, listener = client(broker, "gateway"), Listener(broker)
    live_s = LIMITS_AFTER * CYCLE_S + seconds * speed + 600
    floor = Floor(presses, datetime.now(UTC) - timedelta(seconds=live_s))
    steady_start(floor, publisher, count_stored(url))
    stop, trips = threading.Event(), []
    pinging = threading.Thread(target=lambda: trips.extend(round_trips(broker, stop)))
    pinging.start()
    bad = live(floor, publisher, speed=speed, seconds=seconds)
    stop.set()
    pinging.join()
    collector.stop()
    report([listener.delay_s(*each) for each in bad], trips, presses=presses, speed=speed)
    for each in (publisher, listener.client):
        each.disconnect()
        each.loop_stop()


def report(delays: list[float | None], trips: list[float], *, presses: int, speed: float) -> None:
    """Print both and their ratio."""
    known = [delay for delay in delays if delay is not None]
    p50, p99 = np.percentile(known, [50, 99])
    median = float(np.median(trips))
    rate = presses * speed / CYCLE_S
    print(f"{presses} presses at {speed:g}x ({rate:.1f} shots/s), {len(delays)} bad shots")
    print(f"without an alarm {len(delays) - len(known)}")
    print(f"publish to alarm p50 {p50 * 1e3:.1f} ms, p99 {p99 * 1e3:.1f} ms, most {max(known) * 1e3:.1f} ms")
    print(f"message to self  median {median * 1e3:.2f} ms of {len(trips)}")
    print(f"p99 / median     {p99 / median:.1f}   (goal: {GOAL_RATIO:g} or less)")
    print(f"p99              {p99 * 1e3:.0f} ms   (goal: {GOAL_S * 1e3:g} ms or less)")


def main() -> None:
    """Read the options, start a broker, measure."""
    formatter = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=formatter)
    parser.add_argument("--presses", type=int, default=100)
    parser.add_argument("--speed", type=float, default=10.0)
    parser.add_argument("--seconds", type=float, default=120.0)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        broker = new_broker(Path(name))
        broker.start()
        try:
            measure(
                broker, Path(name), presses=chosen.presses, speed=chosen.speed, seconds=chosen.seconds
            )
        finally:
            broker.stop()


if __name__ == "__main__":
    main()
