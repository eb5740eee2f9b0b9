"""Messages from an MQTT broker: at least once, acknowledged only when the caller says so.

MQTT 5 with a session that outlives the process; MQTT 3.1.1 with the same promise where the broker
refuses version 5, as the embedded one does.
"""

from __future__ import annotations

import contextlib
import logging
import threading
import time
from collections.abc import Callable, Iterator
from datetime import datetime
from functools import partial
from random import Random
from typing import Any, Literal

from paho.mqtt.client import Client, MQTTMessage, MQTTv311
from paho.mqtt.reasoncodes import ReasonCode

from collector.contract import topics
from collector.contract.outgoing import CollectorState
from collector.errors import DeliveryError, SettingsError
from collector.sources import mqtt_connection as connection
from collector.sources.incoming import Incoming
from collector.sources.mqtt_arrivals import Arrivals
from collector.sources.mqtt_rounds import keep_connected
from collector.sources.mqtt_settings import MqttSettings
from collector.sources.mqtt_trouble import Trouble
from collector.sources.mqtt_version import Version

_log = logging.getLogger("evenrun.mqtt")
_LOOK_S = 0.2  # how often something that waits looks whether the connection still stands


class MqttSource:
    """The messages of one site, in batches.

    Parameters
    ----------
    settings : MqttSettings
        Where and how to connect.
    clock : callable
        Service clock, for the time in the collector's own state.
    random : random.Random
        Source of the jitter between attempts to connect.
    may_connect : callable
        Asked before every attempt: connecting throws whoever has the session off the broker.

    Notes
    -----
    A message is acknowledged by calling its `ack`, from any thread. After a reconnect the packet
    numbers of the old connection mean nothing, or worse, another message: such an `ack` does nothing,
    and the broker sends the message again.
    """

    def __init__(
        self,
        settings: MqttSettings,
        *,
        clock: Callable[[], datetime],
        random: Random,
        may_connect: Callable[[], bool] = lambda: True,
    ) -> None:
        self._settings = settings
        self._may_connect = may_connect
        self._clock = clock
        self._random = random
        self._arrived = Arrivals(settings.receive_maximum)
        self._own_topic = topics.collector_state_topic(settings.site)
        self._connections = 0
        self._connected = threading.Event()
        self._news = threading.Event()  # the broker answered or hung up
        self._gone = threading.Event()
        self._answered = False
        self._hung_up = False
        self._closing = threading.Event()
        self._version = Version(settings)
        self._client: Client | None = None
        self._thread: threading.Thread | None = None
        self._trouble = Trouble(settings, _log)

    @property
    def problem(self) -> str | None:
        """What is wrong with the connection, in one sentence; None while nothing is."""
        return self._trouble.sentence

    @property
    def connected(self) -> bool:
        """Whether the broker has taken the connection and the subscription."""
        return self._connected.is_set()

    @property
    def protocol(self) -> Literal["5", "3.1.1"]:
        """Version of MQTT in use."""
        return self._version.name

    @property
    def in_hand(self) -> int:
        """Messages that arrived and are in no batch yet."""
        return len(self._arrived)

    def start(self) -> None:
        """Connect in a thread of its own and keep connecting until `close`."""
        self._thread = threading.Thread(target=self._keep_connected, name="mqtt", daemon=True)
        self._thread.start()

    def wait_until_connected(self, timeout_s: float) -> bool:
        """Wait for the connection; False when it is not there after `timeout_s` (see `problem`)."""
        return self._connected.wait(timeout_s)

    def batches(self, max_messages: int = 200, max_wait_s: float = 0.05) -> Iterator[list[Incoming]]:
        """Yield messages in the order of their arrival until `close`.

        Parameters
        ----------
        max_messages : int
            Most messages in a batch.
        max_wait_s : float
            Longest wait for a batch to fill after its first message, in seconds.

        Yields
        ------
        list of Incoming
            An empty list when nothing came for half a second.
        """
        while not self._closing.is_set():
            yield self._arrived.batch(max_messages, max_wait_s)

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int = 1, timeout_s: float = 10.0
    ) -> None:
        """Publish and wait until the broker has acknowledged.

        Raises
        ------
        DeliveryError
            When there is no connection or no acknowledgement within `timeout_s`; try again later.
        """
        client = self._client
        if client is None or not self.connected:
            raise DeliveryError(f"no connection to the broker at {self._settings.address}")
        sent = client.publish(topic, payload, qos=qos, retain=retain)
        deadline = time.monotonic() + timeout_s
        try:
            while not sent.is_published():
                if client is not self._client or time.monotonic() > deadline:
                    raise DeliveryError(f"the broker did not acknowledge {topic} within {timeout_s:g} s")
                sent.wait_for_publish(_LOOK_S)
        except (RuntimeError, ValueError) as error:  # the connection went between the check and the message
            raise DeliveryError(f"no connection to the broker at {self._settings.address}") from error

    def close(self, *, say_offline: bool = True) -> None:
        """Say that the collector goes offline, disconnect, keep the session on the broker. Idempotent.

        Parameters
        ----------
        say_offline : bool
            False when another collector goes on with the session.
        """
        if self._closing.is_set():
            return
        if say_offline:
            with contextlib.suppress(DeliveryError):
                self.publish(self._own_topic, self._state("offline", "stopped"), retain=True, timeout_s=2.0)
        self._closing.set()
        if self._client is not None:
            self._client.disconnect()
        if self._thread is not None:
            self._thread.join(timeout=10.0)

    def _keep_connected(self) -> None:
        keep_connected(
            self._connect_once, self._closing, settings=self._settings, random=self._random,
            may_connect=self._may_connect, at_once=lambda: self._version.falls_back,
        )  # fmt: skip

    def _connect_once(self) -> bool:
        """Connect, stay until the connection ends, and tell whether there was one.

        A client object lives for one connection. So a packet number of an old connection can never be
        acknowledged on a new one, where the broker may have given it to another message.
        """
        self._connections += 1
        self._answered = False
        self._news.clear()
        self._gone.clear()
        reached = False
        try:
            client = self._client = self._new_client()
            connection.dial(client, self._settings, self._version.protocol)
            reached = True
            self._stay(client)
        except (OSError, ValueError, SettingsError) as error:
            self._trouble.unreachable(error)
        was_connected = self._connected.is_set()
        if reached and not self._answered and self._version.protocol == MQTTv311:
            self._trouble.unanswered(hung_up=self._hung_up)
        self._client = None
        self._connected.clear()
        self._version.choose(unanswered=reached and not self._answered)
        return was_connected

    def _stay(self, client: Client) -> None:
        # The client's own thread, because only then may other threads publish and acknowledge.
        client.loop_start()
        self._hung_up = self._news.wait(self._version.patience_s) and not self._answered
        if not self._answered:
            client.disconnect()
        self._gone.wait()
        client.loop_stop()

    def _new_client(self) -> Client:
        will = self._state("offline", "connection lost")
        client = connection.new_client(self._settings, self._version.protocol, will)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_unsubscribe = lambda *_: self._connected.set()
        client.on_message = self._on_message
        return client

    def _state(self, state: Literal["online", "offline"], reason: str | None) -> bytes:
        at = self._clock()
        return CollectorState(site=self._settings.site, at=at, state=state, reason=reason).payload()

    def _on_connect(self, client: Client, _data: Any, flags: Any, code: ReasonCode, _more: Any) -> None:
        self._answered = True
        self._news.set()
        if code.is_failure:
            if not self._version.is_refused(code):
                self._trouble.refused(code)
            return
        self._trouble.is_over()
        _log.info(
            "connected to %s with MQTT %s, session kept: %s", self._settings.address, self.protocol,
            flags.session_present,
        )
        wanted = connection.subscription(self._settings, self._version.protocol)
        if self._settings.ends:
            client.unsubscribe([name for name, _ in wanted])
            return
        client.subscribe(wanted)
        client.publish(self._own_topic, self._state("online", None), qos=1, retain=True)
        if flags.session_present:  # with its subscriptions: messages may come before an answer to ours
            self._connected.set()

    def _on_subscribe(self, _client: Client, _data: Any, _mid: int, codes: list[ReasonCode], _: Any) -> None:
        if not any(code.is_failure for code in codes):
            self._connected.set()
            return
        ours = f"{topics.ROOT}/{self._settings.site}/#"
        self._trouble.not_subscribed(reads=(ours, *self._settings.also))

    def _on_disconnect(self, _client: Client, _data: Any, _flags: Any, code: ReasonCode, _more: Any) -> None:
        if self._connected.is_set() and not self._closing.is_set():
            self._trouble.lost(code)
        self._gone.set()
        self._news.set()

    def _on_message(self, client: Client, _data: Any, message: MQTTMessage) -> None:
        topic = message.topic
        if topic == self._own_topic:
            client.ack(message.mid, message.qos)  # our own, in the pattern of the presses' states
            return
        position = f"{self._connections}:{message.mid}"
        acknowledge = partial(self._acknowledge, client, message.mid, message.qos)
        incoming = Incoming(topic, bytes(message.payload), "mqtt", position, acknowledge)
        self._arrived.put(incoming, is_over=self._closing.is_set)

    def _acknowledge(self, client: Client, mid: int, qos: int) -> None:
        if client is self._client:
            client.ack(mid, qos)
