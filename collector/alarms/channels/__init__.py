"""Where messages go. One class a file, listed here."""

from __future__ import annotations

from typing import Protocol

from collector.alarms.channels.log import LogChannel
from collector.alarms.channels.mqtt import MqttChannel
from collector.alarms.channels.people import PeopleChannel


class Channel(Protocol):
    """Hands messages over."""

    def send(self, topic: str, payload: str, *, retain: bool) -> None:
        """Hand one message over; return only when it is safe with the receiver.

        Raises
        ------
        DeliveryError
            The message was not handed over; `permanent` says whether trying again can help.
        MaybeSent
            It may have been.
        """
        ...


CHANNELS: dict[str, type[Channel]] = {"mqtt": MqttChannel, "log": LogChannel, "people": PeopleChannel}
