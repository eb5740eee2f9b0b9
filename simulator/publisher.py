"""Stories as messages of contract version 1, and the gateways that send them to a broker."""

import json
import secrets
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Self

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessageInfo, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from collector.contract.times import to_text
from collector.contract.topics import gauging_topic, press_topic
from simulator.floor import SITE
from simulator.records import SimEvent, SimGauging, SimRecord, SimShot

# P2's gateway is an older one and sends two kinds of values in units of its own.
GATEWAY_UNITS: dict[str, dict[str, str]] = {"P2": {"peak_melt_pressure": "bar", "barrel_temperature": "degF"}}
FROM_CANONICAL: dict[str, Callable[[float], float]] = {
    "bar": lambda mpa: round(mpa * 10, 2),
    "degF": lambda degc: round(degc * 1.8 + 32, 2),
}
RETAINED = frozenset({"setpoints", "state"})
CONNECT_TIMEOUT_S = 10.0
FLUSH_TIMEOUT_S = 30.0


@dataclass(frozen=True, slots=True)
class Message:
    """One MQTT message; `sender` is the press whose gateway sends it, or "gauging"."""

    sender: str
    topic: str
    payload: bytes
    retain: bool = False


def to_message(record: SimRecord | SimGauging, site: str = SITE) -> Message:
    """Write a record as its message.

    Parameters
    ----------
    record : SimShot, SimEvent or SimGauging
    site : str
        Site in the topic.

    Returns
    -------
    Message
        The same record always gives the same bytes.
    """
    if isinstance(record, SimGauging):
        return Message("gauging", gauging_topic(site), _json(_gauging(record)))
    kind = "shot" if isinstance(record, SimShot) else record.kind
    body = _shot(record) if isinstance(record, SimShot) else _event(record)
    topic = press_topic(site, record.press, kind)
    return Message(record.press, topic, _json(body), retain=kind in RETAINED)


def _shot(shot: SimShot) -> dict[str, Any]:
    units = GATEWAY_UNITS.get(shot.press, {})
    body: dict[str, Any] = {
        "press": shot.press,
        "counter": shot.counter,
        "ended_at": to_text(shot.ended_at),
        "run": shot.run,
        "tray": shot.tray,
        "tray_position": shot.tray_position,
        "values": _in_units(shot.values, units),
        "setpoints": _in_units(shot.setpoints, units),
    }
    return {**body, "units": units} if units else body


def _event(event: SimEvent) -> dict[str, Any]:
    units = GATEWAY_UNITS.get(event.press, {})
    body = {"press": event.press, "at": to_text(event.at), **event.payload}
    if "setpoints" not in body or not units:
        return body
    return {**body, "setpoints": _in_units(body["setpoints"], units), "units": units}


def _gauging(gauging: SimGauging) -> dict[str, Any]:
    body: dict[str, Any] = {"press": gauging.press, "run": gauging.run, "counter": gauging.counter}
    if gauging.counter is None:
        body = {"press": gauging.press, "tray": gauging.tray, "position": gauging.tray_position}
    return {
        **body,
        "characteristic": gauging.characteristic,
        "value": gauging.value,
        "gauged_at": to_text(gauging.gauged_at),
        "gauge": gauging.gauge,
        "who": gauging.who,
    }


def _in_units(values: Mapping[str, float], units: Mapping[str, str]) -> dict[str, float]:
    """Values in a gateway's own units; a unit for `barrel_temperature` holds for all its zones."""
    return {
        key: value if unit is None else FROM_CANONICAL[unit](value)
        for key, value in values.items()
        for unit in (units.get(key, units.get(key.partition(".")[0])),)
    }


def _json(body: Mapping[str, Any]) -> bytes:
    return json.dumps(body, separators=(",", ":"), allow_nan=False).encode()


def paced(
    records: Iterable[SimRecord],
    *,
    speed: float,
    monotonic: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> Iterator[SimRecord]:
    """Let a story happen in time: `speed` seconds of it in one second.

    Parameters
    ----------
    records : iterable of SimShot or SimEvent
        In time order; the first comes at once.
    speed : float
        Above 0.
    """
    began, first = monotonic(), None
    for record in records:
        moment = record.ended_at if isinstance(record, SimShot) else record.at
        first = moment if first is None else first
        wait_s = (moment - first).total_seconds() / speed - (monotonic() - began)
        if wait_s > 0:
            sleep(wait_s)
        yield record


class Gateways:
    """One MQTT client per press, as on a floor, each with its last will; open as a context manager.

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
        When the broker cannot be reached or refuses a gateway, in one sentence.
    """

    def __init__(
        self, host: str, port: int, *, user: str | None = None, password: str | None = None, site: str = SITE
    ) -> None:
        self._host, self._port = host, port
        self._user, self._password, self._site = user, password, site
        self._clients: dict[str, Client] = {}
        self._last: dict[str, MQTTMessageInfo] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def send(self, message: Message) -> None:
        """Hand a message to its sender's client, QoS 1; the client sends again what was not acknowledged."""
        client = self._clients.get(message.sender)
        if client is None:
            client = self._clients[message.sender] = self._connected(message.sender)
        self._last[message.sender] = client.publish(
            message.topic, message.payload, qos=1, retain=message.retain
        )

    def flush(self, timeout_s: float = FLUSH_TIMEOUT_S) -> None:
        """Wait until the broker has acknowledged what was sent."""
        for info in self._last.values():
            info.wait_for_publish(timeout_s)

    def close(self) -> None:
        """Wait for acknowledgements and sign off; calling it twice does no harm."""
        self.flush()
        for client in self._clients.values():
            client.disconnect()
            client.loop_stop()
        self._clients, self._last = {}, {}

    def _connected(self, sender: str) -> Client:
        # Version 3.1.1, which every broker speaks, the built-in one too.
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"gateway-{sender}-{secrets.token_hex(4)}",
            protocol=MQTTv311,
        )
        if self._user is not None:
            client.username_pw_set(self._user, self._password)
        if sender != "gauging":
            will = _json({"press": sender, "state": "offline", "reason": "gateway lost"})
            client.will_set(press_topic(self._site, sender, "state"), will, qos=1, retain=True)
        answer = _Answer()
        client.on_connect = answer.connected
        client.on_disconnect = answer.disconnected
        where = f"the broker at {self._host}:{self._port}"
        try:
            client.connect(self._host, self._port)
        except OSError as error:
            reason = error.strerror or str(error)
            raise ConnectionError(f"{where} cannot be reached ({reason})") from error
        client.loop_start()
        if not answer.came.wait(CONNECT_TIMEOUT_S) or answer.refusal is not None:
            client.loop_stop()
            raise ConnectionError(f"{where} refused gateway {sender} ({answer.refusal or 'no answer'})")
        return client


class _Answer:
    """The broker's first answer to a client."""

    def __init__(self) -> None:
        self.came = threading.Event()
        self.refusal: str | None = None

    def connected(
        self,
        _client: Client,
        _data: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if not self.came.is_set():
            self.refusal = str(reason).lower() if reason.is_failure else None
            self.came.set()

    def disconnected(
        self,
        _client: Client,
        _data: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if not self.came.is_set():
            self.refusal = str(reason).lower()
            self.came.set()
