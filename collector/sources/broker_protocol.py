"""What the embedded broker has to do beyond amqtt, so that no shot is lost through it.

Gaps of amqtt 0.12: a message that a client has received but not acknowledged is forgotten after five
seconds or when the client goes away; a client that speaks MQTT 5 gets no answer at all, since the
rest of its CONNECT is read by the rules of version 3.1.1; and whoever connects is sent the retained
messages of everybody's subscriptions, before it has asked for anything.

References
----------
OASIS MQTT Version 3.1.1: [MQTT-4.4.0-1] (unacknowledged messages are sent again to a kept session),
[MQTT-3.1.2-2] (return code 0x01 to an unacceptable protocol level), [MQTT-3.3.1-6] (retained messages
are sent when a subscription is made).
"""

from __future__ import annotations

import asyncio
from typing import Any

from amqtt import broker as amqtt_broker
from amqtt.adapters import BufferReader, ReaderAdapter, WriterAdapter
from amqtt.errors import MQTTError
from amqtt.mqtt.protocol.broker_handler import BrokerProtocolHandler
from amqtt.session import OUTGOING, ApplicationMessage, Session

_LEVEL_3_1_1 = 4
_MAX_CONNECT_BYTES = 65536
_PATIENCE_S = 10.0
_UNACCEPTABLE_VERSION = bytes((0x20, 0x02, 0x00, 0x01))


class KeepingHandler(BrokerProtocolHandler):  # type: ignore[misc]
    """Protocol handler of one client that keeps what the client has not acknowledged."""

    _ended = False

    @classmethod
    async def init_from_connect(
        cls, reader: ReaderAdapter, writer: WriterAdapter, plugins_manager: Any, loop: Any = None
    ) -> tuple[BrokerProtocolHandler, Session]:
        """Read CONNECT; answer one of another protocol version as the standard asks."""
        try:
            packet, level = await asyncio.wait_for(_read_connect(reader), _PATIENCE_S)
        except (EOFError, IndexError, TimeoutError) as error:
            await writer.close()
            raise MQTTError("a connection ended before it said CONNECT") from error
        if level != _LEVEL_3_1_1:
            writer.write(_UNACCEPTABLE_VERSION)
            await writer.drain()
            await writer.close()
            raise MQTTError(f"a client speaks protocol level {level}; it was told to use MQTT 3.1.1")
        found: tuple[BrokerProtocolHandler, Session] = await super().init_from_connect(
            BufferReader(packet), writer, plugins_manager, loop
        )
        return found

    async def stop(self) -> None:
        """End the connection; what waits for an acknowledgement goes back to the session."""
        self._ended = True
        await super().stop()

    async def _handle_qos1_message_flow(self, app_message: ApplicationMessage) -> None:
        if app_message.direction != OUTGOING:
            await super()._handle_qos1_message_flow(app_message)
            return
        session = self.session
        try:
            app_message.puback_packet = await self._send_and_wait(app_message)
        except (asyncio.CancelledError, OSError):
            if not session.clean_session:
                session.retained_messages.put_nowait(app_message)
            raise
        finally:
            self._puback_waiters.pop(app_message.packet_id, None)
            session.inflight_out.pop(app_message.packet_id, None)

    async def _send_and_wait(self, app_message: ApplicationMessage) -> Any:
        # amqtt gives up after five seconds; a collector whose database is away takes longer.
        self.session.inflight_out[app_message.packet_id] = app_message
        app_message.publish_packet = app_message.build_publish_packet()
        await self._send_packet(app_message.publish_packet)
        if self._ended:  # the packet went nowhere, and nobody is left to cancel the waiting
            raise asyncio.CancelledError
        acknowledgement: asyncio.Future[Any] = asyncio.get_running_loop().create_future()
        self._puback_waiters[app_message.packet_id] = acknowledgement
        return await acknowledgement


async def _read_connect(reader: ReaderAdapter) -> tuple[bytes, int]:
    """The whole first packet, and the protocol level it states."""
    head = bytearray(await reader.read(1))
    length, shift = 0, 0
    while len(head) < 5:
        digit = await reader.read(1)
        head += digit
        length |= (digit[0] & 0x7F) << shift
        shift += 7
        if digit[0] < 0x80:
            break
    if head[0] != 0x10 or not 10 <= length <= _MAX_CONNECT_BYTES:
        raise MQTTError("the first packet of a client is no CONNECT")
    body = bytearray()
    while len(body) < length:
        body += await reader.read(length - len(body))
    name_length = int.from_bytes(body[:2], "big")
    return bytes(head + body), body[min(2 + name_length, length - 1)]


class KeepingBroker(amqtt_broker.Broker):  # type: ignore[misc]
    """The broker with handlers that keep what is unacknowledged."""

    async def _publish_session_retained_messages(self, session: Session) -> None:
        # Without waiting for the acknowledgements, as amqtt does: until the last of them it would notice
        # neither a subscription nor the end of the connection.
        handler = self._get_handler(session)
        while handler is not None and not session.retained_messages.empty():
            kept = session.retained_messages.get_nowait()
            sending = handler.mqtt_publish(kept.topic, kept.data, kept.qos, retain=False)
            self._tasks_queue.append(asyncio.ensure_future(sending))

    async def _publish_retained_messages_for_subscription(
        self, subscription: tuple[str, int], session: Session
    ) -> None:
        """Nothing: amqtt calls this at every connection, for the subscriptions of all clients."""

    async def _handle_subscription(
        self, client_session: Session, handler: BrokerProtocolHandler, subscribe_waiter: asyncio.Future[Any]
    ) -> None:
        """Take a SUBSCRIBE, then send what is retained for the filters that were granted."""
        await super()._handle_subscription(client_session, handler, subscribe_waiter)
        for topic_filter, qos in subscribe_waiter.result().topics:
            if any(session is client_session for session, _ in self._subscriptions.get(topic_filter, ())):
                self._send_retained(handler, topic_filter, qos)

    def _send_retained(self, handler: BrokerProtocolHandler, topic_filter: str, qos: int) -> None:
        # Without waiting for the acknowledgements, as above.
        for topic, kept in self._retained_messages.items():
            if self._matches(topic, topic_filter):
                sending = handler.mqtt_publish(topic, kept.data, min(qos, kept.qos or qos), retain=True)
                self._tasks_queue.append(asyncio.ensure_future(sending))


def new_broker(configuration: dict[str, Any]) -> KeepingBroker:
    """A broker that uses `KeepingHandler`, for which amqtt has no setting."""
    amqtt_broker.BrokerProtocolHandler = KeepingHandler
    return KeepingBroker(configuration)
