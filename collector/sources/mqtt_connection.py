"""One MQTT connection: what is asked of the broker, in version 5 and in version 3.1.1.

References
----------
OASIS MQTT Version 5.0: session expiry 3.1.2.11.2, receive maximum 3.1.2.11.3, message ordering 4.6.
OASIS MQTT Version 3.1.1: clean session 3.1.2.4.
"""

from __future__ import annotations

import threading
from typing import Any

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.contract import topics
from collector.sources.mqtt_settings import MqttSettings


def new_client(settings: MqttSettings, protocol: MQTTProtocolVersion, will: bytes) -> Client:
    """A client for one connection, which acknowledges nothing by itself."""
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=settings.client_id,
        clean_session=None if protocol == MQTTv5 else False,
        protocol=protocol,
        reconnect_on_failure=False,
        manual_ack=True,
    )
    prepare(client, settings)
    client.will_set(topics.collector_state_topic(settings.site), will, qos=1, retain=True)
    return client


def prepare(client: Client, settings: MqttSettings) -> None:
    """Give a client its credentials and its encryption.

    Raises
    ------
    SettingsError
        A file of the encryption cannot be used.
    """
    client.connect_timeout = settings.connect_timeout_s
    if settings.user is not None:
        client.username_pw_set(settings.user, settings.password)
    if settings.tls is not None:
        client.tls_set_context(settings.tls.context())


def dial(client: Client, settings: MqttSettings, protocol: MQTTProtocolVersion) -> None:
    """Open the connection and ask for the kept session.

    Raises
    ------
    OSError
        When nobody listens there.
    """
    if protocol != MQTTv5:
        client.connect(settings.host, settings.port, settings.keepalive_s)
        return
    wishes = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    wishes.SessionExpiryInterval = settings.session_expiry_s
    wishes.ReceiveMaximum = settings.receive_maximum
    wishes.MaximumPacketSize = settings.max_packet_bytes
    client.connect(settings.host, settings.port, settings.keepalive_s, clean_start=False, properties=wishes)


def subscription(settings: MqttSettings, protocol: MQTTProtocolVersion) -> list[tuple[str, Any]]:
    """What to subscribe to, at QoS 1."""
    filters = (*topics.subscriptions(settings.site), *settings.also)
    if protocol != MQTTv5:
        return [(name, 1) for name in filters]
    # Retained messages come with a new subscription only: a kept session has their changes queued.
    only_new = SubscribeOptions.RETAIN_SEND_IF_NEW_SUB
    return [(name, SubscribeOptions(qos=1, noLocal=True, retainHandling=only_new)) for name in filters]


def forget(settings: MqttSettings) -> None:
    """End a kept session on the broker, with whatever it still holds.

    A clean start ends it (3.1.2.4 of MQTT 5.0, the clean session of 3.1.1), and asking for no expiry, which
    is the default, leaves nothing behind.

    Raises
    ------
    OSError
        The broker cannot be reached, does not answer, or refuses us.
    """
    answered: list[ReasonCode] = []
    heard = threading.Event()

    def on_connect(_client: Client, _data: Any, _flags: Any, code: ReasonCode, _more: Any) -> None:
        answered.append(code)
        heard.set()

    client = Client(
        CallbackAPIVersion.VERSION2, client_id=settings.client_id, clean_session=True, protocol=MQTTv311,
        reconnect_on_failure=False,
    )  # fmt: skip
    prepare(client, settings)
    client.on_connect = on_connect
    client.connect(settings.host, settings.port, settings.keepalive_s)
    client.loop_start()
    try:
        if not heard.wait(settings.connect_timeout_s) or answered[0].is_failure:
            why = answered[0] if answered else "no answer"
            raise ConnectionError(f"the broker at {settings.address} did not end a session ({why})")
    finally:
        client.disconnect()
        client.loop_stop()
