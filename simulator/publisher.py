"""The gateways of the pretend floor: MQTT clients that send a story's messages to a broker."""

import secrets
import threading
from types import TracebackType
from typing import Self

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from collector.contract.topics import press_topic
from simulator.client_loop import ClientLoop
from simulator.floor import SITE
from simulator.messages import Message, paced, to_json, to_message

__all__ = ["Gateways", "Message", "paced", "to_message"]

CONNECT_TIMEOUT_S = 10.0
FLUSH_TIMEOUT_S = 10.0
MOST_WAITING = 2000  # messages of one gateway that the broker has not acknowledged


class Gateways:
    """One MQTT client per press, as on a floor, each with its last will; open as a context manager.

    Leaving the context waits until everything is acknowledged, unless an error is on its way out.

    Parameters
    ----------
    host, port : str, int
        The broker.
    user, password : str, optional
    site : str
        Site in the topics.

    Raises
    ------
    ConnectionError
        When the broker cannot be reached, refuses a gateway, or goes away for good, in one sentence.
    """

    def __init__(
        self, host: str, port: int, *, user: str | None = None, password: str | None = None, site: str = SITE
    ) -> None:
        self._host, self._port = host, port
        self._user, self._password, self._site = user, password, site
        self._gateways: dict[str, _Gateway] = {}
        self._loop: ClientLoop | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self.flush()
        finally:
            self.close()

    def send(self, message: Message) -> None:
        """Hand a message to its sender's client, QoS 1; it is sent again after a lost connection.

        Waits while a gateway has very many messages that the broker has not acknowledged.
        """
        gateway = self._gateways.get(message.sender)
        if gateway is None:
            gateway = self._gateways[message.sender] = self._connected(message.sender)
        gateway.send(message)

    def flush(self, timeout_s: float = FLUSH_TIMEOUT_S) -> None:
        """Wait until the broker has acknowledged what was sent."""
        for sender, gateway in self._gateways.items():
            waiting = gateway.wait_until_at_most(0, timeout_s)
            if waiting:
                raise ConnectionError(
                    f"{self._where} left messages of gateway {sender} unacknowledged ({waiting})"
                )

    def close(self) -> None:
        """Sign off; calling it twice does no harm."""
        if self._loop is not None:
            self._loop.close()
        self._gateways, self._loop = {}, None

    @property
    def _where(self) -> str:
        return f"the broker at {self._host}:{self._port}"

    def _connected(self, sender: str) -> "_Gateway":
        if self._loop is None:
            self._loop = ClientLoop()
        gateway = _Gateway(sender, self._loop, self._site, self._user, self._password)
        try:
            refusal = gateway.connect(self._host, self._port)
        except OSError as error:
            reason = error.strerror or str(error)
            raise ConnectionError(f"{self._where} cannot be reached ({reason})") from error
        if refusal is not None:
            raise ConnectionError(f"{self._where} refused gateway {sender} ({refusal})")
        return gateway


class _Gateway:
    """One client, the broker's first answer to it, and how many of its messages are not acknowledged."""

    def __init__(
        self, sender: str, loop: ClientLoop, site: str, user: str | None, password: str | None
    ) -> None:
        # Version 3.1.1, which every broker speaks, the built-in one too.
        self._client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"gateway-{sender}-{secrets.token_hex(4)}",
            protocol=MQTTv311,
        )
        if user is not None:
            self._client.username_pw_set(user, password)
        if sender != "gauging":
            will = to_json({"press": sender, "state": "offline", "reason": "gateway lost"})
            self._client.will_set(press_topic(site, sender, "state"), will, qos=1, retain=True)
        self._answered = threading.Event()
        self._refusal: str | None = None
        self._waiting = 0
        self._changed = threading.Condition()
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_publish = self._on_publish
        self._loop = loop
        loop.attach(self._client)

    def connect(self, host: str, port: int) -> str | None:
        """Connect; returns why the broker refused, None when it did not."""
        self._client.connect(host, port)
        if not self._answered.wait(CONNECT_TIMEOUT_S):
            self._refusal = "no answer"
        if self._refusal is None:
            self._loop.keep(self._client)
        else:
            self._client.disconnect()
        return self._refusal

    def send(self, message: Message) -> None:
        self.wait_until_at_most(MOST_WAITING - 1, None)
        with self._changed:
            self._waiting += 1
        self._client.publish(message.topic, message.payload, qos=1, retain=message.retain)

    def wait_until_at_most(self, count: int, timeout_s: float | None) -> int:
        """Wait until no more than `count` messages are not acknowledged; returns how many are not."""
        with self._changed:
            self._changed.wait_for(lambda: self._waiting <= count, timeout_s)
            return self._waiting

    def _on_connect(
        self,
        _client: Client,
        _data: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._answer(reason if reason.is_failure else None)

    def _on_disconnect(
        self,
        _client: Client,
        _data: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._answer(reason)

    def _on_publish(
        self,
        _client: Client,
        _data: object,
        _number: int,
        _reason: ReasonCode,
        _properties: Properties,
    ) -> None:
        with self._changed:
            self._waiting -= 1
            self._changed.notify_all()

    def _answer(self, refusal: ReasonCode | None) -> None:
        """Keep the first answer; later ones are lost and regained connections, which the client mends."""
        if not self._answered.is_set():
            self._refusal = None if refusal is None else str(refusal).lower()
            self._answered.set()
