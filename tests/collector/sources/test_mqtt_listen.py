"""Listening to both brokers: what was asked for, once, in the service's time and in real time."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import pytest
from paho.mqtt.client import Client, topic_matches_sub
from paho.mqtt.enums import CallbackAPIVersion

from collector.clock import ServiceClock, real_clock
from collector.sources.mqtt_listen import listen, without_covered
from collector.sources.recorded import Heard
from tests.collector.sources.mqtt_helpers import embedded_broker, gateway, settings, wait_for
from tests.mosquitto_fixtures import Mosquitto

ALARM, OTHER = "evenrun/1/lowland/P1/alarm", "yard/gate"


@pytest.fixture(params=["embedded", pytest.param("mosquitto", marks=pytest.mark.mosquitto)])
def floor(request: pytest.FixtureRequest) -> Iterator[tuple[int, Client]]:
    """A broker with two retained messages and a client that subscribes to much; its port and that client."""
    if request.param == "embedded":
        with embedded_broker() as (_, port), talker(port) as client:
            yield port, client
    else:
        mosquitto: Mosquitto = request.getfixturevalue("mosquitto")
        with talker(mosquitto.port) as client:
            yield mosquitto.port, client


@contextmanager
def talker(port: int) -> Iterator[Client]:
    """A client as the collector and a stack light are: subscribed, with something retained."""
    granted: list[int] = []
    with gateway(port, "collector", "collector-secret") as client:
        client.on_subscribe = lambda _client, _data, mid, _codes, _more: granted.append(mid)
        for topic_filter in ("evenrun/#", "evenrun/1/lowland/+/alarm", "yard/#"):
            client.subscribe(topic_filter, 1)
        wait_for(lambda: len(granted) == 3)
        for topic in (ALARM, OTHER):
            client.publish(topic, b"{}", qos=1, retain=True).wait_for_publish(10)
        yield client


def hears(port: int, *filters: str, clock: ServiceClock | None = None, ready: Callable[[], None] | None = None
          ) -> list[Heard]:
    heard = listen(
        settings(port), filters, seconds=0.8, clock=clock or real_clock(), ready=ready or (lambda: None)
    )
    return list(heard)


def test_only_what_was_asked_for_is_heard_however_much_others_subscribe_to(floor: tuple[int, Client]) -> None:
    """[MQTT-3.3.1-6] of OASIS MQTT 3.1.1: retained messages come for one's own subscription, one a topic."""
    port, client = floor

    def talk() -> None:
        for topic in (ALARM, OTHER):
            client.publish(topic, b"now", qos=1)

    for asked, topic in (("yard/#", OTHER), ("evenrun/#", ALARM), (ALARM, ALARM)):
        heard = hears(port, asked, ready=talk)
        assert [(each.topic, each.payload, each.retained) for each in heard] == [
            (topic, b"{}", True), (topic, b"now", False),
        ]
    assert hears(port, "hall/#", ready=talk) == []


def test_filters_that_overlap_tell_a_message_once(floor: tuple[int, Client]) -> None:
    port, client = floor
    heard = hears(
        port, "evenrun/#", "evenrun/1/+/+/alarm", ALARM, "evenrun/#",
        ready=lambda: client.publish(ALARM, b"now", qos=1),
    )
    assert [each.payload for each in heard] == [b"{}", b"now"]


def test_a_client_that_comes_back_is_not_told_again_what_is_retained_until_it_asks(
    floor: tuple[int, Client],
) -> None:
    port, _ = floor
    heard: list[str] = []
    for again in (False, True):
        granted: list[int] = []
        client = Client(CallbackAPIVersion.VERSION2, client_id="light", clean_session=False)
        client.username_pw_set("collector", "collector-secret")
        client.on_message = lambda _client, _data, message: heard.append(message.topic)
        client.on_subscribe = lambda *_, known=granted: known.append(1)
        client.connect("127.0.0.1", port)
        client.loop_start()
        wait_for(client.is_connected)
        if not again:
            client.subscribe("yard/#", 1)
            wait_for(lambda known=granted: bool(known) and bool(heard))
        time.sleep(0.5)
        client.disconnect()
        client.loop_stop()

    assert heard == [OTHER]


def test_a_message_has_the_time_of_the_floor_and_of_the_wall(floor: tuple[int, Client]) -> None:
    port, _ = floor
    began = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
    clock = ServiceClock(wall_anchor=datetime.now(UTC), service_anchor=began, speed=60.0)
    (heard,) = hears(port, "yard/#", clock=clock)

    assert heard.wall_at is not None
    assert heard.at - began == 60.0 * (heard.wall_at - clock.wall_anchor)
    assert timedelta(0) < heard.wall_at - clock.wall_anchor < timedelta(minutes=1)


@pytest.mark.parametrize(
    ("filters", "left"),
    [
        (["a/#", "a/b", "a/b"], ["a/#"]),
        (["a", "a/#"], ["a/#"]),
        (["+/b", "a/+"], ["+/b", "a/+"]),
        (["a/#", "a/+/#"], ["a/#"]),
        (["a/+/#", "a/#"], ["a/#"]),
        (["+", "#"], ["#"]),
        (["#", "$SYS/#"], ["#", "$SYS/#"]),
        (["a/+", "a/b/c"], ["a/+", "a/b/c"]),
    ],
)
def test_a_filter_inside_another_is_left_out_and_no_topic(filters: list[str], left: list[str]) -> None:
    """Held against paho-mqtt's own matching, for topics of up to three levels."""
    assert without_covered(filters) == left
    topics = ["a", "b", "a/b", "b/b", "a/b/c", "a/b/c/d", "$SYS/x", "c/b"]
    assert [any(topic_matches_sub(each, topic) for each in filters) for topic in topics] == [
        any(topic_matches_sub(each, topic) for each in left) for topic in topics
    ]
