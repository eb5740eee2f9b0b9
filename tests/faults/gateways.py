"""Gateways that remember when the broker acknowledged each of their messages."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence

from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from simulator.messages import Message


class RememberingGateways:
    """One client a press; a message that is not acknowledged is sent again after a lost connection.

    Parameters
    ----------
    port : int
        Of the broker, or of a relay before it.
    user, password : str
    """

    def __init__(self, port: int, *, user: str, password: str) -> None:
        self._port, self._user, self._password = port, user, password
        self._clients: dict[str, Client] = {}
        self._numbers: dict[tuple[str, int], int] = {}
        self._early: dict[tuple[str, int], float] = {}  # acknowledged before `publish` told the packet number
        self._lock = threading.Lock()
        self.acknowledged: dict[int, float] = {}  # place in the sequence that was sent -> monotonic time

    def send(self, number: int, message: Message) -> None:
        """Hand over message `number`; returns before it is acknowledged."""
        client = self._clients.get(message.sender) or self._connected(message.sender)
        sent = client.publish(message.topic, message.payload, qos=1, retain=message.retain)
        with self._lock:
            early = self._early.pop((message.sender, sent.mid), None)
            if early is None:
                self._numbers[message.sender, sent.mid] = number
            else:
                self.acknowledged[number] = early

    def wait(self, messages: Sequence[Message], timeout_s: float) -> None:
        """Wait until the broker has acknowledged so many messages."""
        deadline = time.monotonic() + timeout_s
        while len(self.acknowledged) < len(messages):
            if time.monotonic() > deadline:
                raise AssertionError(
                    f"the broker acknowledged {len(self.acknowledged)} of {len(messages)} messages"
                )
            time.sleep(0.05)

    def close(self) -> None:
        """Sign off."""
        for client in self._clients.values():
            client.disconnect()
            client.loop_stop()

    def _connected(self, sender: str) -> Client:
        client = self._clients[sender] = Client(
            CallbackAPIVersion.VERSION2, client_id=f"gateway-{sender}", protocol=MQTTv311
        )
        client.username_pw_set(self._user, self._password)
        client.reconnect_delay_set(0.1, 0.5)  # type: ignore[arg-type]
        client.max_queued_messages_set(0)

        def note(_client: Client, _data: object, mid: int, *_: object) -> None:
            with self._lock:
                number = self._numbers.pop((sender, mid), None)
                if number is None:
                    self._early[sender, mid] = time.monotonic()
                else:
                    self.acknowledged[number] = time.monotonic()

        client.on_publish = note
        client.connect("127.0.0.1", self._port)
        client.loop_start()
        return client
