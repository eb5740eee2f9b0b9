"""This service as a host application: a connection of its own, and the STATE that edge nodes look at.

A clean start and no kept session: the broker keeps nothing for a host, and what is lost meanwhile is healed
by births. So nothing is acknowledged late here, and what is in memory when the process dies is lost; the
press's counter shows it as a gap, unless the edge node keeps its history. MQTT 3.1.1, which every broker
speaks.

References
----------
ISO/IEC 20237:2023, chapter 5 (session establishment and termination of a host application): the will and the
STATE have the same time; subscriptions come before the STATE; a STATE that says offline while this host is
online is answered by a new one.
"""

from __future__ import annotations

import contextlib
import json
import logging
import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random
from typing import Any

from paho.mqtt.client import Client, MQTTMessage, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from collector.errors import SettingsError
from collector.sources.mqtt_connection import prepare
from collector.sources.mqtt_rounds import keep_connected
from collector.sources.mqtt_settings import MqttSettings
from collector.sources.mqtt_trouble import Trouble
from collector.sources.sparkplug.payload import rebirth_command
from collector.sources.sparkplug.shots import EPOCH
from collector.sources.sparkplug.topics import rebirth_topic, state_topic

__all__ = ["Arrived", "Connected", "Host", "Lost"]

log = logging.getLogger("evenrun.sparkplug")

IN_HAND = 20_000  # then the socket is not read, and the broker drops what an edge node's numbers will show
LOOK_S = 0.2
GOODBYE_S = 2.0


@dataclass(frozen=True, slots=True)
class Arrived:
    """A message of an edge node."""

    topic: str
    payload: bytes


class Connected:
    """The broker has taken the connection and the subscriptions."""


class Lost:
    """The connection ended, and messages may have been lost."""


class Host:
    """The connection.

    Parameters
    ----------
    settings : MqttSettings
        Where, and as which user; the client id is this host's own.
    host_id : str
    filters : sequence of str
        Topics of the edge nodes.
    wall : callable
        Wall time, for STATE and commands.
    random : random.Random
        For waits between attempts to connect.
    may_connect : callable
        Asked before every attempt.
    """

    def __init__(
        self,
        settings: MqttSettings,
        host_id: str,
        filters: Sequence[str],
        *,
        wall: Callable[[], datetime],
        random: Random,
        may_connect: Callable[[], bool],
    ) -> None:
        self._settings = settings
        self._state_topic = state_topic(host_id)
        self._filters = filters
        self._wall = wall
        self._random = random
        self._may_connect = may_connect
        self._arrived: queue.Queue[Arrived | Connected | Lost] = queue.Queue(IN_HAND)
        self._closing = threading.Event()
        self._gone = threading.Event()
        self._connected = threading.Event()
        self._news = threading.Event()  # the broker has taken us, or the connection ended
        self._answered = False
        self._client: Client | None = None
        self._born_ms = 0
        self._thread = threading.Thread(target=self._keep_connected, name="sparkplug-host", daemon=True)
        self._trouble = Trouble(settings, log, "Sparkplug ")

    @property
    def problem(self) -> str | None:
        """What is wrong with the connection, in one sentence; None while nothing is."""
        return self._trouble.sentence

    def start(self) -> None:
        """Connect in a thread of its own and keep connecting until `close`."""
        self._thread.start()

    def next(self, timeout_s: float) -> Arrived | Connected | Lost | None:
        """What came next; None when nothing did for so many seconds."""
        with contextlib.suppress(queue.Empty):
            return self._arrived.get(timeout=timeout_s) if timeout_s else self._arrived.get_nowait()
        return None

    def ask_for_births(self, group: str, node: str) -> None:
        """Send the command; without a connection nothing happens, since the next one asks again."""
        if self._client is not None and self._connected.is_set():
            self._client.publish(rebirth_topic(group, node), rebirth_command(self._now_ms()), qos=0)

    def close(self) -> None:
        """Say that this host is offline, and disconnect. Idempotent."""
        if self._closing.is_set():
            return
        client = self._client
        if client is not None and self._connected.is_set():
            with contextlib.suppress(RuntimeError, ValueError):
                self._say(client, online=False).wait_for_publish(GOODBYE_S)
        self._closing.set()
        if client is not None:
            client.disconnect()
        if self._thread.ident is not None:
            self._thread.join(10.0)

    def _keep_connected(self) -> None:
        keep_connected(
            self._connect_once, self._closing, settings=self._settings, random=self._random,
            may_connect=self._may_connect,
        )  # fmt: skip

    def _connect_once(self) -> bool:
        """Connect and stay until the connection ends; whether there was one."""
        self._gone.clear()
        self._news.clear()
        self._answered = False
        self._born_ms = self._now_ms()
        try:
            client = self._client = self._new_client()
            client.connect(self._settings.host, self._settings.port, self._settings.keepalive_s)
        except (OSError, ValueError, SettingsError) as error:
            self._trouble.unreachable(error)
            return False
        client.loop_start()
        came = self._news.wait(self._settings.answer_timeout_s)
        if not (self._answered or self._closing.is_set()):
            self._trouble.unanswered(hung_up=came)
        if not self._connected.is_set():
            client.disconnect()
        self._gone.wait()
        client.loop_stop()
        was_connected = self._connected.is_set()
        self._connected.clear()
        self._client = None
        if was_connected:
            self._put(Lost())
        return was_connected

    def _new_client(self) -> Client:
        client = Client(
            CallbackAPIVersion.VERSION2, client_id=self._settings.client_id, clean_session=True,
            protocol=MQTTv311, reconnect_on_failure=False,
        )  # fmt: skip
        prepare(client, self._settings)
        client.will_set(self._state_topic, self._state(online=False), qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_disconnect = self._on_disconnect
        return client

    def _on_connect(self, client: Client, _data: Any, _flags: Any, code: ReasonCode, _more: Any) -> None:
        self._answered = True
        if code.is_failure:
            self._trouble.refused(code)
            return
        client.subscribe([(self._state_topic, 1), *((name, 1) for name in self._filters)])

    def _on_subscribe(self, client: Client, _data: Any, _mid: int, codes: list[ReasonCode], _: Any) -> None:
        if any(code.is_failure for code in codes):
            self._trouble.not_subscribed(reads=self._filters, writes=self._state_topic)
            client.disconnect()
            return
        self._trouble.is_over()
        self._connected.set()
        self._news.set()
        self._say(client, online=True)
        self._put(Connected())
        log.info("host application on %s, STATE on %s", self._settings.address, self._state_topic)

    def _on_message(self, client: Client, _data: Any, message: MQTTMessage) -> None:
        if message.topic != self._state_topic:
            self._put(Arrived(message.topic, bytes(message.payload)))
        elif not _says_online(message.payload) and self._connected.is_set() and not self._closing.is_set():
            self._say(client, online=True)  # the will of an earlier connection of ours came late

    def _on_disconnect(self, _client: Client, _data: Any, _flags: Any, code: ReasonCode, _more: Any) -> None:
        if self._connected.is_set() and not self._closing.is_set():
            self._trouble.lost(code)
        self._gone.set()
        self._news.set()

    def _say(self, client: Client, *, online: bool) -> Any:
        return client.publish(self._state_topic, self._state(online=online), qos=1, retain=True)

    def _state(self, *, online: bool) -> bytes:
        return json.dumps({"online": online, "timestamp": self._born_ms}).encode()

    def _put(self, what: Arrived | Connected | Lost) -> None:
        while not self._closing.is_set():
            with contextlib.suppress(queue.Full):
                self._arrived.put(what, timeout=LOOK_S)
                return

    def _now_ms(self) -> int:
        return (self._wall() - EPOCH) // timedelta(milliseconds=1)


def _says_online(payload: bytes | bytearray) -> bool:
    try:
        said = json.loads(payload)
    except ValueError:
        return False
    return isinstance(said, dict) and said.get("online") is True
