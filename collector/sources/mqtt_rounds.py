"""Connect to a broker again and again, with longer and longer waits while it does not let us in."""

from __future__ import annotations

import threading
from collections.abc import Callable
from random import Random

from collector.sources.mqtt_settings import MqttSettings, back_off_s

_LOOK_S = 0.2  # how often one that may not connect asks again


def keep_connected(
    connect_once: Callable[[], bool],
    closing: threading.Event,
    *,
    settings: MqttSettings,
    random: Random,
    may_connect: Callable[[], bool],
    at_once: Callable[[], bool] = lambda: False,
) -> None:
    """Go round until `closing` is set.

    Parameters
    ----------
    connect_once : callable
        Connects, stays until the connection ends, and tells whether there was one.
    closing : threading.Event
    settings : MqttSettings
        With the back-off.
    random : random.Random
        Source of its jitter.
    may_connect : callable
        Asked before every attempt.
    at_once : callable
        Whether the next attempt need not wait, asked after every attempt.
    """
    attempt = 0
    while not closing.is_set():
        if not may_connect():
            closing.wait(_LOOK_S)
            continue
        attempt = 1 if connect_once() else attempt + 1
        if not at_once():
            closing.wait(back_off_s(attempt, settings, random))
