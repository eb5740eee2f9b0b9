"""How to reach the MQTT broker, and how long to wait before the next attempt."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import Literal

from collector.sources.mqtt_tls import TlsFiles


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttSettings:
    """Settings of one MQTT connection.

    Attributes
    ----------
    site : str
        Site whose messages are taken.
    host, port : str, int
        Address of the broker.
    user, password : str or None
        Credentials. The embedded broker keeps a session only for a named user.
    client_id : str
        Names the session on the broker; it must stay the same over restarts and belong to one process.
    receive_maximum : int
        Messages in hand before the broker waits for an acknowledgement: the back-pressure. Since not
        every broker keeps to it, the source stops reading at ten times as many.
    session_expiry_s : int
        How long the broker keeps the session and its messages while nobody is connected, in seconds.
    max_packet_bytes : int
        Largest packet the broker may send. Far above the largest payload that is read, because a
        broker drops larger ones without a word, while a refusal is kept and shown.
    keepalive_s : int
        Silence after which a ping is sent, in seconds.
    connect_timeout_s : float
        Longest wait for the connection, and for an answer to version 5 that may never come, in seconds.
    answer_timeout_s : float
        Longest wait for an answer to any other version, in seconds. A broker that has just started checks the
        passwords of everybody at once, and whoever gives up too soon goes to the end of that line.
    first_wait_s, longest_wait_s : float
        Back-off between attempts to connect, in seconds.
    protocol : {'auto', '5', '3.1.1'}
        Version of MQTT; auto tries 5 first and falls back to 3.1.1, which costs a broker that does not
        answer to version 5 `connect_timeout_s` at every connection.
    ends : bool
        The session takes nothing new: what the broker still has for it is handed over, and no more.
    also : tuple of str
        Filters to subscribe to besides the contract's own: topics of other gateways, which are mapped.
    tls : TlsFiles or None
        Whom to trust, and our own certificate; given, the connection is encrypted.
    """

    site: str
    host: str = "127.0.0.1"
    port: int = 1883
    user: str | None = None
    password: str | None = None
    client_id: str = "evenrun-collector"
    receive_maximum: int = 200
    session_expiry_s: int = 72 * 3600
    max_packet_bytes: int = 4 * 1024 * 1024
    keepalive_s: int = 30
    connect_timeout_s: float = 2.0
    answer_timeout_s: float = 15.0
    first_wait_s: float = 0.2
    longest_wait_s: float = 10.0
    protocol: Literal["auto", "5", "3.1.1"] = "auto"
    ends: bool = False
    also: tuple[str, ...] = ()
    tls: TlsFiles | None = None

    @property
    def address(self) -> str:
        """Host and port, for messages."""
        return f"{self.host}:{self.port}"


def back_off_s(attempt: int, settings: MqttSettings, random: Random) -> float:
    """Wait before attempt number `attempt` (from 1), in seconds.

    Doubles up to the longest wait; half of it is random, so that the clients of a broker that comes
    back do not all knock in the same second.
    """
    ceiling = min(settings.longest_wait_s, settings.first_wait_s * 2.0 ** min(attempt - 1, 30))
    return ceiling * (0.5 + 0.5 * random.random())
