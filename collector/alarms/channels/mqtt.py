"""Messages to the broker: what a stack light or a plant system may show."""

from __future__ import annotations

from typing import Protocol

from collector.errors import DeliveryError


class Publish(Protocol):
    """Publishes through a connection that somebody else keeps."""

    def __call__(self, topic: str, payload: bytes, *, retain: bool) -> None:
        """Return once the broker has acknowledged.

        Raises
        ------
        DeliveryError, OSError, RuntimeError
            Not now.
        ValueError
            This topic or payload can never be published.
        """
        ...


class MqttChannel:
    """Publishes each message, retained if asked.

    Parameters
    ----------
    publish : callable
        See :class:`Publish`.
    """

    def __init__(self, publish: Publish) -> None:
        self._publish = publish

    def send(self, topic: str, payload: str, *, retain: bool) -> None:
        """Publish one message.

        Raises
        ------
        DeliveryError
            The broker did not take it.
        """
        try:
            self._publish(topic, payload.encode(), retain=retain)
        except ValueError as error:
            raise DeliveryError(f"{topic} cannot be published: {error}", permanent=True) from error
        except (OSError, RuntimeError) as error:
            raise DeliveryError(f"the broker did not take {topic}: {error}") from error
