"""The embedded broker, as a process of its own, with the source in front of it."""

from __future__ import annotations

import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from collector.errors import UserError
from collector.sources.broker import run_broker
from tests.collector.sources.mqtt_helpers import (
    acknowledge_all,
    embedded_broker,
    gateway,
    publish,
    run_until_killed,
    source,
    take,
    wait_for,
)

PASSWORD = "collector-secret"


@dataclass(frozen=True)
class Running:
    """A broker process and its port."""

    process: subprocess.Popen[str]
    port: int


@pytest.fixture
def broker() -> Iterator[Running]:
    """`evenrun broker` on a free port with one user."""
    with embedded_broker() as (process, port):
        yield Running(process, port)


def test_the_source_falls_back_to_mqtt_3_1_1_without_a_pause(broker: Running) -> None:
    started = time.monotonic()
    with source(broker.port) as opened:
        assert opened.protocol == "3.1.1"
        assert time.monotonic() - started < 1.5  # less than waiting for an answer that never comes

        with gateway(broker.port, "collector", PASSWORD) as client:
            publish(client, range(100))
            assert acknowledge_all(opened, 100) == list(range(100))


def test_a_collector_that_was_away_misses_nothing(broker: Running) -> None:
    with source(broker.port):
        pass
    with gateway(broker.port, "collector", PASSWORD) as client:
        publish(client, range(500))
        time.sleep(3)  # the broker looks for sessions to forget every second

        with source(broker.port) as opened:
            assert acknowledge_all(opened, 500) == list(range(500))


def test_a_killed_collector_gets_again_what_it_had_not_acknowledged(broker: Running) -> None:
    with source(broker.port):
        pass
    with gateway(broker.port, "collector", PASSWORD) as client:
        publish(client, range(50))
        assert run_until_killed(broker.port, count=50, acknowledged=30) == 50
        publish(client, range(50, 60))

        with source(broker.port) as opened:
            assert acknowledge_all(opened, 30) == list(range(30, 60))
            publish(client, range(60, 70))
            assert acknowledge_all(opened, 10) == list(range(60, 70))


def test_an_acknowledgement_may_take_longer_than_amqtt_would_wait(broker: Running) -> None:
    with source(broker.port) as opened, gateway(broker.port, "collector", PASSWORD) as client:
        publish(client, range(5))
        held = take(opened, 5)
        time.sleep(6)
        for message in held:
            message.ack()
        publish(client, range(5, 10))
        assert acknowledge_all(opened, 5) == list(range(5, 10))

    with source(broker.port) as opened:
        assert take(opened, 1, wait_s=1.0) == []


def test_alarms_are_retained(broker: Running) -> None:
    found: list[bytes] = []
    with source(broker.port) as opened, gateway(broker.port, "collector", PASSWORD) as client:
        opened.publish("evenrun/1/lowland/P1/alarm", b'{"active":true}', retain=True)
        client.on_message = lambda _client, _data, message: found.append(bytes(message.payload))
        client.subscribe("evenrun/1/lowland/P1/alarm", qos=1)
        wait_for(lambda: bool(found))

    assert found == [b'{"active":true}']


@pytest.mark.parametrize("credentials", [None, ("collector", "wrong"), ("stranger", PASSWORD)])
def test_nobody_gets_in_without_the_password(broker: Running, credentials: tuple[str, str] | None) -> None:
    answers: list[bool] = []
    client = Client(CallbackAPIVersion.VERSION2, client_id="intruder", clean_session=True)
    if credentials is not None:
        client.username_pw_set(*credentials)
    client.on_connect = lambda _client, _data, _flags, code, _more: answers.append(code.is_failure)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    wait_for(lambda: bool(answers))
    client.disconnect()
    client.loop_stop()

    assert answers[0]


def test_what_is_no_mqtt_does_not_disturb_it(broker: Running) -> None:
    for noise in (b"", b"GET / HTTP/1.1\r\n\r\n", b"\x10\xff\xff\xff\xff\x7f", b"\x10\x02\x00\x04"):
        with socket.create_connection(("127.0.0.1", broker.port)) as connection:
            connection.sendall(noise)

    with source(broker.port) as opened:
        assert opened.connected


def test_ctrl_c_ends_it_in_good_order(broker: Running) -> None:
    broker.process.send_signal(signal.SIGINT)

    assert broker.process.wait(10) == 0


def test_a_taken_port_is_one_sentence_with_the_remedy() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]

        with pytest.raises(UserError, match=rf"127\.0\.0\.1:{port} .*choose another with --port"):
            run_broker(host="127.0.0.1", port=port, users={"collector": PASSWORD})


@pytest.mark.parametrize("users", [{}, {"collector": ""}, {"a:b": "x"}, {"# a": "x"}])
def test_a_user_with_a_password_is_needed(users: dict[str, str]) -> None:
    with pytest.raises(UserError):
        run_broker(host="127.0.0.1", port=0, users=users)
