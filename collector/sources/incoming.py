"""One message from outside, before anyone has read it."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple


def already_acknowledged() -> None:
    """Acknowledgement of sources that need none."""


class Incoming(NamedTuple):
    """Bytes with where they came from; `ack` is called once what follows from them is durable."""

    topic: str
    payload: bytes
    source: str
    position: str
    ack: Callable[[], None] = already_acknowledged
