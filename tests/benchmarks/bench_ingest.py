"""How fast shots become durable, judged and acknowledged, against a bare consumer of the same messages.

    python tests/benchmarks/bench_ingest.py [--shots 5000]

Both drain the same backlog from the same Mosquitto: first a paho client that only counts and acknowledges,
then the collector's own source and pipeline into SQLite, with the default chart plan on ten characteristics.
Prints both rates and their ratio; the goal is 0.5 or more.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random

from paho.mqtt.client import Client, MQTTMessage, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

sys.path[:0] = [str(Path(__file__).parents[2])]
from ten_characteristics import KEYS, messages  # noqa: E402

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


def drain_bare(broker: Mosquitto, backlog: list[Message]) -> float:
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

    began = time.perf_counter()
    client = _client(broker, count)
    done.wait(300)
    took = time.perf_counter() - began
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


def drain_collector(broker: Mosquitto, backlog: list[Message], folder: Path) -> float:
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
    began = time.perf_counter()
    with _source(broker) as source:
        for batch in source.batches(200, 0.05):
            stored += pipeline.take(batch).stored
            if stored >= len(backlog):
                break
    took = time.perf_counter() - began
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
    with tempfile.TemporaryDirectory() as name:
        broker = new_broker(Path(name))
        broker.start()
        try:
            bare_s = drain_bare(broker, backlog)
            ours_s = drain_collector(broker, backlog, Path(name))
        finally:
            broker.stop()
    bare, ours = len(backlog) / bare_s, (len(backlog) - WARM_UP) / ours_s
    print(f"{len(backlog)} shots of {len(KEYS)} characteristics")
    print(f"bare consumer  {bare:8.0f} shots/s")
    print(f"collector      {ours:8.0f} shots/s")
    print(f"ratio          {ours / bare:8.2f}   (goal: 0.50 or more)")


if __name__ == "__main__":
    main()
