"""The MQTT source against a real Mosquitto."""

from __future__ import annotations

import json
import time
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest
from paho.mqtt.client import Client, MQTTMessage

from collector.errors import DeliveryError
from collector.sources.mqtt import MqttSource
from collector.sources.mqtt_settings import MqttSettings, back_off_s
from collector.sources.mqtt_tls import TlsFiles
from tests.collector.sources.mqtt_helpers import (
    acknowledge_all,
    gateway,
    numbers,
    publish,
    run_until_killed,
    settings,
    source,
    take,
    wait_for,
)
from tests.mosquitto_fixtures import Mosquitto

pytestmark = pytest.mark.mosquitto
STATE = "evenrun/1/lowland/collector/state"


def test_messages_arrive_in_order_with_mqtt_5(mosquitto: Mosquitto) -> None:
    with source(mosquitto.port) as opened, gateway(mosquitto.port) as client:
        publish(client, range(300))
        assert acknowledge_all(opened, 300) == list(range(300))

        assert opened.protocol == "5"


def test_a_killed_collector_gets_again_what_it_had_not_acknowledged(mosquitto: Mosquitto) -> None:
    with source(mosquitto.port):
        pass  # makes the session
    with gateway(mosquitto.port) as client:
        publish(client, range(50))
    assert run_until_killed(mosquitto.port, count=50, acknowledged=30) == 50

    with source(mosquitto.port) as opened:
        assert numbers(take(opened, 20)) == list(range(30, 50))


def test_an_acknowledgement_of_an_old_connection_does_nothing(mosquitto: Mosquitto) -> None:
    with source(mosquitto.port) as opened, gateway(mosquitto.port) as client:
        publish(client, range(20))
        old = take(opened, 20)
        time.sleep(2.5)  # the broker saves every other second
        mosquitto.kill()
        wait_for(lambda: not opened.connected)
        mosquitto.start()
        again = take(opened, 20)
        assert {message.position for message in again}.isdisjoint(message.position for message in old)
        for message in old:
            message.ack()
        time.sleep(0.5)

    with source(mosquitto.port) as opened:
        third = take(opened, 20)
        assert sorted(numbers(third)) == list(range(20))
        for message in third:
            message.ack()
        time.sleep(0.5)
    with source(mosquitto.port) as opened:
        assert take(opened, 1, wait_s=1.0) == []


def test_no_message_is_lost_while_the_collector_is_away_and_the_broker_dies(mosquitto: Mosquitto) -> None:
    with source(mosquitto.port):
        pass
    with gateway(mosquitto.port) as client:
        publish(client, range(2000))
    time.sleep(2.5)
    mosquitto.kill()
    mosquitto.start()

    with source(mosquitto.port) as opened:
        assert acknowledge_all(opened, 2000) == list(range(2000))


def test_the_receive_maximum_holds_the_broker_back(mosquitto: Mosquitto) -> None:
    with source(mosquitto.port, receive_maximum=10) as opened, gateway(mosquitto.port) as client:
        publish(client, range(30))

        assert numbers(take(opened, 11, wait_s=1.5)) == list(range(10))


def test_a_backlog_far_above_the_bound_of_the_source_comes_whole_and_in_order(mosquitto: Mosquitto) -> None:
    with source(mosquitto.port):
        pass
    with gateway(mosquitto.port) as client:
        publish(client, range(3000))

    with source(mosquitto.port, receive_maximum=5) as opened:
        time.sleep(1.0)  # long enough for the reading to stop at 50
        assert acknowledge_all(opened, 3000) == list(range(3000))


def test_a_batch_ends_when_it_is_full_and_an_idle_source_yields_empty_ones(mosquitto: Mosquitto) -> None:
    with source(mosquitto.port) as opened, gateway(mosquitto.port) as client:
        publish(client, range(25))
        time.sleep(0.3)
        batches = opened.batches(max_messages=10, max_wait_s=0.2)

        assert [len(next(batches)) for _ in range(4)] == [10, 10, 5, 0]


def test_alarms_are_published_retained_and_acknowledged(mosquitto: Mosquitto) -> None:
    with source(mosquitto.port) as opened:
        opened.publish("evenrun/1/lowland/P1/alarm", b'{"active":true}', retain=True)

    assert retained(mosquitto.port, "evenrun/1/lowland/P1/alarm") == b'{"active":true}'


def test_publishing_without_a_broker_is_a_delivery_error_that_may_be_tried_again(
    mosquitto: Mosquitto,
) -> None:
    with source(mosquitto.port) as opened:
        mosquitto.kill()
        wait_for(lambda: not opened.connected)

        with pytest.raises(DeliveryError, match="no connection") as caught:
            opened.publish("evenrun/1/lowland/P1/alarm", b"{}", retain=True)
    assert not caught.value.permanent


def test_the_state_of_the_collector_is_online_then_offline_and_never_comes_back_in(
    mosquitto: Mosquitto,
) -> None:
    with source(mosquitto.port) as opened:
        wait_for(lambda: json.loads(retained(mosquitto.port, STATE) or b"{}").get("state") == "online")
        assert take(opened, 1, wait_s=0.7) == []

    assert json.loads(retained(mosquitto.port, STATE) or b"")["state"] == "offline"


def test_the_last_will_of_a_killed_collector_says_offline(mosquitto: Mosquitto) -> None:
    with gateway(mosquitto.port) as client:
        with source(mosquitto.port):
            pass
        publish(client, range(1))
    run_until_killed(mosquitto.port, count=1, acknowledged=0)

    wait_for(lambda: json.loads(retained(mosquitto.port, STATE) or b"{}").get("reason") == "connection lost")


def test_a_wrong_password_is_a_problem_that_says_what_to_check(mosquitto: Mosquitto) -> None:
    opened = MqttSource(
        settings(mosquitto.port, password="wrong"), clock=lambda: datetime.now(UTC), random=Random(1)
    )
    opened.start()
    try:
        wait_for(lambda: "refused the connection" in (opened.problem or ""))
        assert not opened.connected
        assert "check the broker's user and password" in (opened.problem or "")
    finally:
        opened.close()


def test_a_certificate_that_is_not_there_is_a_problem_not_a_crash(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    bad = settings(mosquitto.port, tls=TlsFiles(ca_file=tmp_path / "none.pem"))
    opened = MqttSource(bad, clock=lambda: datetime.now(UTC), random=Random(1))
    opened.start()
    try:
        wait_for(lambda: "no connection to the broker" in (opened.problem or ""))
    finally:
        opened.close()


def test_closing_twice_is_closing_once(mosquitto: Mosquitto) -> None:
    with source(mosquitto.port) as opened:
        opened.close()

    assert list(opened.batches()) == []


def test_the_wait_between_attempts_doubles_up_to_its_bound_with_jitter() -> None:
    bounds = MqttSettings(site="lowland", first_wait_s=0.2, longest_wait_s=30.0)
    waits = [
        [back_off_s(attempt, bounds, Random(seed)) for seed in range(50)] for attempt in (1, 2, 5, 9, 99)
    ]

    ceilings = [0.2, 0.4, 3.2, 30.0, 30.0]
    for drawn, ceiling in zip(waits, ceilings, strict=True):
        assert ceiling / 2 <= min(drawn) < max(drawn) <= ceiling


def retained(port: int, topic: str) -> bytes | None:
    found: list[bytes] = []

    def keep(_client: Client, _data: object, message: MQTTMessage) -> None:
        found.append(bytes(message.payload))

    with gateway(port) as client:
        client.on_message = keep
        client.subscribe(topic, qos=1)
        deadline = time.monotonic() + 1.0
        while not found and time.monotonic() < deadline:
            time.sleep(0.02)
    return found[-1] if found else None
