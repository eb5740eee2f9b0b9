"""A broker that does not answer the host application, or hangs up: what it says, and when it tries again."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from random import Random

from collector.sources.sparkplug.host import Host
from tests.collector.sources.mqtt_helpers import settings, wait_for


@contextmanager
def opened(port: int, **changes: object) -> Iterator[Host]:
    """A started host, which need not be connected."""
    found = Host(
        settings(port, **changes), "evenrun", ["spBv1.0/Hall/#"], wall=lambda: datetime.now(UTC),
        random=Random(1), may_connect=lambda: True,
    )  # fmt: skip
    found.start()
    try:
        yield found
    finally:
        found.close()


@contextmanager
def hanging_up() -> Iterator[tuple[int, list[int]]]:
    """A server that ends every connection; its port, and the ports of those who came."""
    came: list[int] = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            with contextlib.suppress(OSError):
                while True:
                    connection, (_, port) = server.accept()
                    came.append(port)
                    connection.close()

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield server.getsockname()[1], came
        finally:
            server.shutdown(socket.SHUT_RDWR)
            thread.join(5)


def test_a_broker_that_does_not_answer_is_said_to_be_silent() -> None:
    with (
        socket.create_server(("127.0.0.1", 0)) as silent,
        opened(silent.getsockname()[1], answer_timeout_s=0.2) as found,
    ):
        wait_for(lambda: "did not answer within 0.2 s" in (found.problem or ""))


def test_a_broker_that_hangs_up_is_tried_again_without_waiting_for_its_answer() -> None:
    with hanging_up() as (port, came), opened(port, answer_timeout_s=60.0) as found:
        wait_for(lambda: len(came) > 2)
        assert "hung up without an answer" in (found.problem or "")
