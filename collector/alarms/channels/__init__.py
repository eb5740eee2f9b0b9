"""Where messages go. One class a file, listed here by the name that the outbox uses."""

from __future__ import annotations

from typing import Protocol

from collector.alarms.channels.log import LogChannel
from collector.alarms.channels.mqtt import MqttChannel


class Channel(Protocol):
    """Hands messages over."""

    def send(self, topic: str, payload: str, *, retain: bool) -> None:
        """Hand one message over; return only when it is safe with the receiver.

        Raises
        ------
        DeliveryError
            The message was not handed over; `permanent` says whether trying again can help.
        """
        ...


CHANNELS: dict[str, type[Channel]] = {"mqtt": MqttChannel, "log": LogChannel}
