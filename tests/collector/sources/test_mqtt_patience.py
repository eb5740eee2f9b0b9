"""A broker that is slow to answer or away: when the source comes back, and what it says until then."""

from __future__ import annotations

import logging
import os
import signal
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from random import Random

import pytest

from collector.sources import mqtt_trouble
from collector.sources.mqtt import MqttSource
from collector.sources.mqtt_settings import MqttSettings
from tests.collector.sources.mqtt_helpers import embedded_broker, settings, wait_for


@contextmanager
def opened(port: int, **changes: object) -> Iterator[MqttSource]:
    """A started source, which need not be connected."""
    found = MqttSource(settings(port, **changes), clock=lambda: datetime.now(UTC), random=Random(1))
    found.start()
    try:
        yield found
    finally:
        found.close()


def test_a_broker_that_answers_later_than_the_fallback_waits_is_not_given_up() -> None:
    """Stopped, it still accepts connections: the operating system does so, and nobody reads them."""
    with embedded_broker() as (process, port):
        os.kill(process.pid, signal.SIGSTOP)
        try:
            with opened(port, connect_timeout_s=0.3) as found:
                time.sleep(1.5)  # several times the patience for version 5
                assert not found.connected
                os.kill(process.pid, signal.SIGCONT)
                assert found.wait_until_connected(8), found.problem
                assert found.protocol == "3.1.1"
                assert found._connections == 2  # version 5, then the one that was answered
        finally:
            os.kill(process.pid, signal.SIGCONT)


def test_silence_is_not_taken_for_a_matter_of_encryption() -> None:
    with (
        socket.create_server(("127.0.0.1", 0)) as silent,
        opened(silent.getsockname()[1], connect_timeout_s=0.1, answer_timeout_s=0.2) as found,
    ):
        wait_for(lambda: "did not answer within 0.2 s" in (found.problem or ""))
        assert "see whether it is still starting or overloaded" in (found.problem or "")
        assert "encrypted" not in (found.problem or "")


def test_where_nothing_listens_it_says_so_again_and_again_but_not_at_every_attempt(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(mqtt_trouble, "_SAY_AGAIN_S", 1.0)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    with caplog.at_level(logging.WARNING), opened(port, longest_wait_s=0.1) as found:
        wait_for(lambda: len(caplog.messages) == 2)
        attempts = found._connections

    why = "nothing listens there; see whether the broker runs"
    said = f"no connection to the broker at 127.0.0.1:{port}: {why}"
    assert caplog.messages[:2] == [said, said]
    assert attempts > 4


def test_whoever_waits_knocks_at_least_twice_in_half_a_minute() -> None:
    assert MqttSettings(site="lowland").longest_wait_s <= 15
