"""The store at the start of a process, which may be up before its database is."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from random import Random
from typing import TypeVar

from collector.errors import StoreUnavailable
from collector.sources.mqtt_settings import MqttSettings, back_off_s

__all__ = ["when_there"]

log = logging.getLogger("evenrun.collector")

T = TypeVar("T")


def when_there(
    ask: Callable[[], T], *, back_off: MqttSettings, stop: threading.Event, random: Random
) -> T | None:
    """Ask the store something, again and again until it can answer.

    A computer that boots starts both at once, and a full disk outlives a restart. So the collector waits, and
    says for what, rather than end.

    Returns
    -------
    the answer, or None
        None when `stop` came first.
    """
    attempt = 0
    while not stop.is_set():
        try:
            return ask()
        except StoreUnavailable as error:
            attempt += 1
            wait_s = back_off_s(attempt, back_off, random)
            log.warning("%s; nothing is taken yet, next try in %.1f s", error, wait_s)
            stop.wait(wait_s)
    return None
