"""A publishing gateway and a collector process for the tests of the MQTT source."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from random import Random

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from collector.sources.incoming import Incoming
from collector.sources.mqtt import MqttSource
from collector.sources.mqtt_settings import MqttSettings

TOPIC = "evenrun/1/lowland/P1/shot"


def settings(port: int, password: str = "collector-secret", **changes: object) -> MqttSettings:
    values = {
        "site": "lowland",
        "port": port,
        "user": "collector",
        "password": password,
        "first_wait_s": 0.05,
    }
    return MqttSettings(**{**values, "longest_wait_s": 0.5, **changes})  # type: ignore[arg-type]


@contextmanager
def embedded_broker() -> Iterator[tuple[subprocess.Popen[str], int]]:
    """`evenrun broker` on a free port with the user of `settings`: its process and the port."""
    command = [sys.executable, "-c", "from collector.cli import main; main()", "broker", "--port", "0"]
    user = {"EVENRUN_BROKER__PASSWORD": "collector-secret", "EVENRUN_BROKER__USER": "collector"}
    with subprocess.Popen(command, env={**os.environ, **user}, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None, "it was opened with a pipe"
        ready = process.stdout.readline().strip()
        assert ready.startswith("evenrun broker ready on 127.0.0.1:")
        yield process, int(ready.rpartition(":")[2])
        process.terminate()
        process.wait(10)


@contextmanager
def source(port: int, **changes: object) -> Iterator[MqttSource]:
    """A connected source, closed at the end."""
    opened = MqttSource(settings(port, **changes), clock=lambda: datetime.now(UTC), random=Random(1))
    opened.start()
    try:
        assert opened.wait_until_connected(10), opened.problem
        yield opened
    finally:
        opened.close()


@contextmanager
def gateway(port: int, user: str = "gateway", password: str = "gateway-secret") -> Iterator[Client]:
    """A publishing client, connected."""
    client = Client(CallbackAPIVersion.VERSION2, client_id="gateway", clean_session=True)
    client.username_pw_set(user, password)
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        wait_for(client.is_connected)
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


def publish(client: Client, numbers: range) -> None:
    """Publish one small message a number, and wait until the broker has them."""
    sent = [client.publish(TOPIC, json.dumps({"n": number}), qos=1) for number in numbers]
    for info in sent:
        info.wait_for_publish(10)


def take(opened: MqttSource, count: int, *, wait_s: float = 5.0) -> list[Incoming]:
    """The next `count` messages, or those that came within `wait_s`; none is acknowledged."""
    found: list[Incoming] = []
    deadline = time.monotonic() + wait_s
    for batch in opened.batches():
        found += batch
        if len(found) >= count or time.monotonic() > deadline:
            return found
    return found


def acknowledge_all(opened: MqttSource, count: int) -> list[int]:
    """The numbers of the next `count` messages, each acknowledged."""
    found: list[int] = []
    while len(found) < count:
        batch = take(opened, 1)
        assert batch, f"only {len(found)} of {count} came"
        found += numbers(batch)
        for message in batch:
            message.ack()
    return found


def numbers(messages: list[Incoming]) -> list[int]:
    return [json.loads(message.payload)["n"] for message in messages]


def wait_for(condition: Callable[[], bool], wait_s: float = 10.0) -> None:
    deadline = time.monotonic() + wait_s
    while not condition():
        assert time.monotonic() < deadline, "it did not happen in time"
        time.sleep(0.02)


# Takes all, acknowledges the first so many, says when it has done so, and waits to be killed.
COLLECTOR = """
import sys, time
sys.path.insert(0, {root!r})
from tests.collector.sources.mqtt_helpers import source, take
with source({port}) as opened:
    messages = take(opened, {count})
    for message in messages[:{acknowledged}]:
        message.ack()
    time.sleep(0.5)
    print(len(messages), flush=True)
    time.sleep(60)
"""


def run_until_killed(port: int, *, count: int, acknowledged: int) -> int:
    """A collector process that takes `count`, acknowledges some and is killed; how many it took."""
    root = str(Path(__file__).parents[3])
    program = COLLECTOR.format(root=root, port=port, count=count, acknowledged=acknowledged)
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None, "it was opened with a pipe"
        taken = int(process.stdout.readline())
        process.kill()
    return taken
