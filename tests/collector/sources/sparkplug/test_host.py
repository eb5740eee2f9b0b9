"""An edge node made by hand, a real Mosquitto, and the whole collector as its host application."""

from __future__ import annotations

import json
import queue
import time
from contextlib import AbstractContextManager, ExitStack
from typing import Any

import pytest
import sqlalchemy as sa
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from collector.sources.sparkplug.payload import decode
from collector.store.tables import presses, refusals, shots
from tests.collector.pipelines import rows
from tests.collector.running import ON_SQLITE, running, settings_of
from tests.collector.sources.mqtt_helpers import wait_for
from tests.collector.sources.sparkplug.wire import INT64, metric, payload
from tests.mosquitto_fixtures import Mosquitto

pytestmark = [pytest.mark.mosquitto, ON_SQLITE]
STATE = "spBv1.0/STATE/evenrun"
NCMD = "spBv1.0/Hall/NCMD/G3"
DEVICE = {
    "group": "Hall", "edge_node": "G3", "device": "Press 7", "press": "P7", "shot": "Counter",
    "values": [{"metric": "Cushion", "key": "cushion"}, {"metric": "Fill", "key": "injection_time"}],
}  # fmt: skip


def collecting(store: sa.Engine, broker: Mosquitto) -> AbstractContextManager[None]:
    return running(settings_of(store, broker, sparkplug=[DEVICE], sparkplug_host={"reorder_s": 0.3}))


class EdgeNode:
    """Speaks as the standard says: its will is its death, its births come when asked for."""

    def __init__(self, port: int, *, bd_seq: int = 0) -> None:
        self.heard: queue.Queue[MQTTMessage] = queue.Queue()
        self.seq, self.counter, self.bd_seq = 0, 100, bd_seq
        self.client = Client(CallbackAPIVersion.VERSION2, client_id="G3")
        self.client.username_pw_set("gateway", "gateway-secret")
        death = payload([metric("bdSeq", bd_seq, datatype=INT64)])
        self.client.will_set("spBv1.0/Hall/NDEATH/G3", death, qos=1)
        self.client.on_message = self._on_message
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        wait_for(self.client.is_connected)
        self.client.subscribe([(STATE, 1), (NCMD, 1)])

    def is_born(self) -> None:
        self.seq = 0
        rebirth = metric("Node Control/Rebirth", False)
        self._send("NBIRTH/G3", metric("bdSeq", self.bd_seq, datatype=INT64), rebirth)
        self._send(
            "DBIRTH/G3/Press 7", metric("Counter", self.counter, alias=1, at_ms=now_ms()),
            metric("Cushion", 6.0, alias=2), metric("Fill", 2.4, alias=3),
        )  # fmt: skip

    def makes_a_shot(self, **changed: float) -> None:
        self.counter += 1
        aliases = {"cushion": 2, "fill": 3}
        values = [metric(None, value, alias=aliases[name]) for name, value in changed.items()]
        self._send("DDATA/G3/Press 7", metric(None, self.counter, alias=1, at_ms=now_ms()), *values)

    def loses_a_message(self) -> None:
        self.counter += 1
        self.seq = (self.seq + 1) % 256

    def waits_for(self, topic: str, wait_s: float = 15.0) -> bytes:
        deadline = time.monotonic() + wait_s
        while True:
            message = self.heard.get(timeout=max(0.1, deadline - time.monotonic()))
            if message.topic == topic:
                return bytes(message.payload)

    def is_cut_off(self) -> None:
        """As by a cable: the broker publishes the will."""
        sock = self.client.socket()
        assert sock is not None
        self.client._reconnect_on_failure = False
        sock.close()

    def _send(self, topic: str, *metrics: bytes) -> None:
        raw = payload(metrics, seq=self.seq, at_ms=now_ms())
        self.client.publish(f"spBv1.0/Hall/{topic}", raw, qos=0).wait_for_publish(5)
        self.seq = (self.seq + 1) % 256

    def _on_message(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        self.heard.put(message)


def now_ms() -> int:
    return int(time.time() * 1000)


def stored(engine: sa.Engine) -> list[tuple[Any, ...]]:
    return [(counter, values) for counter, values in rows(engine, shots.c.counter, shots.c.characteristics)]


def state_of_press(engine: sa.Engine) -> object:
    return next((row[0] for row in rows(engine, presses.c.state)), None)


def test_a_host_comes_asks_for_births_takes_shots_and_says_goodbye(
    mosquitto: Mosquitto, engine: sa.Engine
) -> None:
    node = EdgeNode(mosquitto.port)
    with collecting(engine, mosquitto):
        online = json.loads(node.waits_for(STATE))
        command = decode(node.waits_for(NCMD))
        node.is_born()
        node.makes_a_shot(cushion=6.1)
        node.makes_a_shot()  # nothing but the counter changed
        wait_for(lambda: len(stored(engine)) == 2)
        assert state_of_press(engine) == "online"

    assert online["online"] is True
    assert [(each.name, each.value) for each in command.metrics] == [("Node Control/Rebirth", True)]
    assert stored(engine) == [
        (101, {"cushion": 6.1, "injection_time": 2.4}), (102, {"cushion": 6.1, "injection_time": 2.4}),
    ]  # fmt: skip
    # The death has the time of its birth, so that a late will of an earlier one can be told apart.
    assert json.loads(node.waits_for(STATE)) == {"online": False, "timestamp": online["timestamp"]}
    assert rows(engine, refusals.c.id) == []
    node.client.disconnect()
    node.client.loop_stop()


def test_a_lost_message_is_healed_by_a_rebirth_and_a_death_is_a_state_of_the_press(
    mosquitto: Mosquitto, engine: sa.Engine
) -> None:
    node = EdgeNode(mosquitto.port)
    with collecting(engine, mosquitto):
        node.waits_for(NCMD)
        node.is_born()
        node.makes_a_shot()
        wait_for(lambda: len(stored(engine)) == 1)
        node.loses_a_message()
        node.makes_a_shot(cushion=6.3)
        wait_for(lambda: len(stored(engine)) == 2)
        node.waits_for(NCMD)
        node.is_born()
        node.makes_a_shot()
        wait_for(lambda: len(stored(engine)) == 3)
        node.is_cut_off()
        wait_for(lambda: state_of_press(engine) == "offline")

    assert [counter for counter, _ in stored(engine)] == [101, 103, 104]
    assert stored(engine)[1][1] == {"cushion": 6.3}  # fill time may have changed in what was lost


def test_what_is_no_payload_is_kept(mosquitto: Mosquitto, engine: sa.Engine) -> None:
    node = EdgeNode(mosquitto.port)
    with collecting(engine, mosquitto):
        node.waits_for(NCMD)
        node.client.publish("spBv1.0/Hall/DDATA/G3/Press 7", b'{"counter": 1}').wait_for_publish(5)
        wait_for(lambda: len(rows(engine, refusals.c.id)) == 1)

    ((reason, source, raw),) = rows(engine, refusals.c.reason, refusals.c.source, refusals.c.raw)
    assert (reason, source, bytes(raw)) == ("not_protobuf", "sparkplug", b'{"counter": 1}')  # type: ignore[call-overload]
    node.client.disconnect()
    node.client.loop_stop()


def test_a_state_that_says_offline_while_the_host_is_online_is_answered(
    mosquitto: Mosquitto, engine: sa.Engine
) -> None:
    node = EdgeNode(mosquitto.port)
    with collecting(engine, mosquitto):
        first = node.waits_for(STATE)
        node.client.publish(STATE, b'{"online": false, "timestamp": 1}', qos=1, retain=True)
        node.waits_for(STATE)  # our own

        assert node.waits_for(STATE) == first
    node.client.disconnect()
    node.client.loop_stop()


def test_the_next_collector_is_the_same_host_and_asks_for_births_anew(
    mosquitto: Mosquitto, engine: sa.Engine
) -> None:
    node = EdgeNode(mosquitto.port)
    with ExitStack() as first:
        first.enter_context(collecting(engine, mosquitto))
        node.waits_for(NCMD)
        node.is_born()
        with collecting(engine, mosquitto):  # waits to take over
            node.makes_a_shot()
            wait_for(lambda: len(stored(engine)) == 1)
            first.close()
            node.waits_for(NCMD)
            node.is_born()
            node.makes_a_shot(cushion=6.4)
            wait_for(lambda: len(stored(engine)) == 2)

    assert stored(engine)[1] == (102, {"cushion": 6.4, "injection_time": 2.4})
    node.client.disconnect()
    node.client.loop_stop()
