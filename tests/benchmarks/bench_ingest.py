"""How fast shots become durable, judged and acknowledged, against a bare consumer of the same messages.

    python tests/benchmarks/bench_ingest.py [--shots 5000]

Both drain the same backlog from the same Mosquitto: first a paho client that only counts and acknowledges,
then the collector's own source and pipeline into SQLite, with the default chart plan on ten characteristics.
Prints both rates and their ratio; the goal is 0.5 or more. The same in processor time of this process, which
other work on the machine disturbs less. Garbage is looked for as seldom as in `evenrun collect`; set
OPENBLAS_NUM_THREADS=1, as that does, or waiting threads are counted too.
"""

from __future__ import annotations

import argparse
import gc
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from typing import NamedTuple

from paho.mqtt.client import Client, MQTTMessage, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

sys.path[:0] = [str(Path(__file__).parents[2])]
from ten_characteristics import KEYS, messages  # noqa: E402

from collector.cli import GARBAGE_AFTER  # noqa: E402
from collector.clock import real_clock  # noqa: E402
from collector.contract.policy import Policy as Intake  # noqa: E402
from collector.pipeline import Pipeline  # noqa: E402
from collector.sources.incoming import Incoming  # noqa: E402
from collector.sources.mqtt import MqttSource  # noqa: E402
from collector.sources.mqtt_settings import MqttSettings  # noqa: E402
from collector.store import database  # noqa: E402
from collector.verdict import Policy  # noqa: E402
from simulator.messages import Message  # noqa: E402
from simulator.publisher import Gateways  # noqa: E402
from tests.mosquitto_fixtures import Mosquitto, new_broker  # noqa: E402

SITE = "lowland"
WARM_UP = 200
TOPIC = f"evenrun/1/{SITE}/+/shot"


def publish(broker: Mosquitto, backlog: list[Message]) -> None:
    """Let the broker hold all messages for whoever has a session."""
    with Gateways("127.0.0.1", broker.port, user="gateway", password=broker.users["gateway"]) as gateways:
        for message in backlog:
            gateways.send(message)


class Watch(NamedTuple):
    """Seconds on the wall and of the processor."""

    wall_s: float
    processor_s: float

    @classmethod
    def now(cls) -> Watch:
        """What both clocks say."""
        return cls(time.perf_counter(), time.process_time())

    def since(self) -> Watch:
        """How long it is ago."""
        return Watch(*(now - then for now, then in zip(Watch.now(), self, strict=True)))


def drain_bare(broker: Mosquitto, backlog: list[Message]) -> Watch:
    """Seconds that a client needs which only counts."""
    session = _client(broker)
    session.disconnect()
    session.loop_stop()
    publish(broker, backlog)
    done, counted = threading.Event(), [0]

    def count(_client: Client, _data: object, _message: MQTTMessage) -> None:
        counted[0] += 1
        if counted[0] == len(backlog):
            done.set()

    began = Watch.now()
    client = _client(broker, count)
    done.wait(300)
    took = began.since()
    client.disconnect()
    client.loop_stop()
    return took


def _client(broker: Mosquitto, on_message: object = None) -> Client:
    client = Client(CallbackAPIVersion.VERSION2, "bare", clean_session=False, protocol=MQTTv311)
    client.username_pw_set("collector", broker.users["collector"])
    subscribed = threading.Event()
    client.on_connect = lambda c, *_: c.subscribe(TOPIC, 1)
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_message = on_message
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    subscribed.wait(10)
    return client


def drain_collector(broker: Mosquitto, backlog: list[Message], folder: Path) -> Watch:
    """Seconds until every shot is durable, judged and acknowledged."""
    engine = database.open_engine(f"sqlite:///{folder / 'evenrun.db'}")
    database.upgrade(engine)
    clock = real_clock()
    policy = Policy(vital=frozenset(KEYS))
    pipeline = Pipeline(engine, policy=policy, intake=Intake(), clock=clock)
    with _source(broker) as source:
        source.wait_until_connected(10)
    # Limits are made once a run, after 35 shots, and are no part of the steady rate.
    pipeline.take([Incoming(each.topic, each.payload, "warm-up", "-") for each in backlog[:WARM_UP]])
    publish(broker, backlog[WARM_UP:])
    stored = WARM_UP
    began = Watch.now()
    with _source(broker) as source:
        for batch in source.batches(200, 0.05):
            stored += pipeline.take(batch).stored
            if stored >= len(backlog):
                break
    took = began.since()
    engine.dispose()
    return took


@contextmanager
def _source(broker: Mosquitto) -> Iterator[MqttSource]:
    settings = MqttSettings(
        site=SITE, port=broker.port, user="collector", password=broker.users["collector"], client_id="bench"
    )
    source = MqttSource(settings, clock=real_clock().now, random=Random(20))
    source.start()
    try:
        yield source
    finally:
        source.close()


def main() -> None:
    """Run both and print."""
    formatter = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=formatter)
    parser.add_argument("--shots", type=int, default=5_000)
    backlog = messages(parser.parse_args().shots)
    gc.set_threshold(GARBAGE_AFTER)
    with tempfile.TemporaryDirectory() as name:
        broker = new_broker(Path(name))
        broker.start()
        try:
            bare = drain_bare(broker, backlog)
            ours = drain_collector(broker, backlog, Path(name))
        finally:
            broker.stop()
    print(f"{len(backlog)} shots of {len(KEYS)} characteristics")
    for clock, unit in (("wall_s", "s"), ("processor_s", "s of the processor")):
        bare_rate = len(backlog) / getattr(bare, clock)
        rate = (len(backlog) - WARM_UP) / getattr(ours, clock)
        print(f"bare consumer  {bare_rate:8.0f} shots/{unit}")
        print(f"collector      {rate:8.0f} shots/{unit}")
        print(f"ratio          {rate / bare_rate:8.2f}   (goal: 0.50 or more)")


if __name__ == "__main__":
    main()
