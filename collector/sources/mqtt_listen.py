"""Listening to a broker without taking anything away from anybody.

A client id of its own and a clean session, so that the collector's connection and its session on the
broker stay as they are; quality of service 0, so that nothing is acknowledged or kept for us. MQTT 3.1.1,
which every broker speaks.

References
----------
OASIS MQTT Version 3.1.1: clean session 3.1.2.4, quality of service 0 4.3.1, return codes of SUBACK 3.9.3.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from secrets import token_hex
from typing import Any

from paho.mqtt.client import Client, MQTTMessage, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from collector.clock import ServiceClock
from collector.errors import UserError
from collector.sources.mqtt_connection import prepare
from collector.sources.mqtt_settings import MqttSettings
from collector.sources.mqtt_tls import explained
from collector.sources.recorded import Heard

__all__ = ["listen"]

_LOOK_S = 0.2
_IN_HAND = 20_000


def listen(
    settings: MqttSettings,
    filters: Sequence[str],
    *,
    seconds: float,
    clock: ServiceClock,
    ready: Callable[[], None],
) -> Iterator[Heard]:
    """Yield what arrives for a while.

    Parameters
    ----------
    settings : MqttSettings
        Where, and as which user; the client id is not used.
    filters : sequence of str
        Topic filters; what one of them takes is heard once, even where another takes it too.
    seconds : float
        How long, from the subscription on.
    clock : ServiceClock
        For the times of arrival.
    ready : callable
        Called once the broker has taken the subscription.

    Raises
    ------
    UserError
        When the broker cannot be reached, refuses us, or hangs up.
    """
    ear = _Ear(settings, without_covered(filters), clock)
    try:
        ear.connect()
        ready()
        deadline = time.monotonic() + seconds
        while (left := deadline - time.monotonic()) > 0:
            if ear.problem is not None:
                raise UserError(ear.problem)
            with contextlib.suppress(queue.Empty):
                yield ear.arrived.get(timeout=min(left, _LOOK_S))
        while not ear.arrived.empty():
            yield ear.arrived.get_nowait()
    finally:
        ear.close()


def without_covered(filters: Sequence[str]) -> list[str]:
    """Leave out filters that another one includes: a broker may send a message once for each of them.

    Overlapping subscriptions are [MQTT-3.3.5-1] of OASIS MQTT Version 3.1.1.
    """
    different = list(dict.fromkeys(filters))
    return [
        each for each in different if not any(_covers(other, each) for other in different if other != each)
    ]


def _covers(wide: str, narrow: str) -> bool:
    """Whether every topic of one filter is also one of the other."""
    wider, narrower = wide.split("/"), narrow.split("/")
    if wider[0] in {"+", "#"} and narrower[0].startswith("$"):
        return False  # [MQTT-4.7.2-1]
    for place, level in enumerate(wider):
        if level == "#":
            return True
        if place >= len(narrower) or narrower[place] == "#" or level not in {"+", narrower[place]}:
            return False
    return len(wider) == len(narrower)


class _Ear:
    """One connection that only listens."""

    def __init__(self, settings: MqttSettings, filters: Sequence[str], clock: ServiceClock) -> None:
        self._settings = settings
        self._filters = filters
        self._clock = clock
        self._ready = threading.Event()
        self._closing = False
        self.problem: str | None = None
        # A flood that nobody reads in time waits with the broker, which may drop it: only we listen here.
        self.arrived: queue.Queue[Heard] = queue.Queue(_IN_HAND)
        self._client = Client(
            CallbackAPIVersion.VERSION2, client_id=f"evenrun-listen-{token_hex(4)}", clean_session=True,
            protocol=MQTTv311, reconnect_on_failure=False,
        )
        prepare(self._client, settings)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._client.on_disconnect = self._on_disconnect

    def connect(self) -> None:
        """Connect and subscribe."""
        where = f"the broker at {self._settings.address}"
        try:
            self._client.connect(self._settings.host, self._settings.port, self._settings.keepalive_s)
        except (OSError, ValueError) as error:
            why = explained(error, self._settings.host, self._settings.tls)
            raise UserError(
                f"{where} cannot be reached ({why}); check broker.host and broker.port"
            ) from error
        self._client.loop_start()
        if not self._ready.wait(5 * self._settings.connect_timeout_s) and self.problem is None:
            raise UserError(f"{where} does not answer; check broker.host and broker.port")
        if self.problem is not None:
            raise UserError(self.problem)

    def close(self) -> None:
        """Leave in good order."""
        self._closing = True
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(self, client: Client, _data: Any, _flags: Any, code: ReasonCode, _more: Any) -> None:
        if code.is_failure:
            self._end(
                f"the broker at {self._settings.address} refused the connection ({code}); "
                "check the broker's user and password settings"
            )
            return
        client.subscribe([(name, 0) for name in self._filters])

    def _on_subscribe(self, _client: Client, _data: Any, _mid: int, codes: list[ReasonCode], _: Any) -> None:
        refused = [name for name, code in zip(self._filters, codes, strict=False) if code.is_failure]
        if refused:
            self._end(
                f"the broker at {self._settings.address} refused to let us read {' and '.join(refused)}; "
                f"give {self._settings.user or 'anonymous users'} the right to, or name other topics "
                "with --topic"
            )
        self._ready.set()

    def _on_message(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        wall_at = self._clock.wall()
        heard = Heard(
            message.topic, bytes(message.payload), self._clock.at(wall_at), bool(message.retain), wall_at
        )
        while not self._closing:
            with contextlib.suppress(queue.Full):
                self.arrived.put(heard, timeout=_LOOK_S)
                return

    def _on_disconnect(self, _client: Client, _data: Any, _flags: Any, code: ReasonCode, _more: Any) -> None:
        if not self._closing:
            self._end(f"the broker at {self._settings.address} ended the connection ({code}); listen again")

    def _end(self, problem: str) -> None:
        self.problem = self.problem or problem
        self._ready.set()
