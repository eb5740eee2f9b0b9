"""Delivery: claimed once, tried again with longer waits, and never an old state over a newer one.

That a claim is an update which must change exactly one row is common practice, no source.
"""

from __future__ import annotations

import importlib
import inspect
import logging
import pkgutil
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from random import Random
from threading import Barrier
from typing import Any

import pytest
import sqlalchemy as sa

from collector.alarms import channels
from collector.alarms.channels import CHANNELS
from collector.alarms.channels.log import LogChannel
from collector.alarms.channels.mqtt import MqttChannel
from collector.alarms.deliver import LONGEST_WAIT, Courier, back_off
from collector.clock import ServiceClock
from collector.errors import DeliveryError
from collector.store import database, outbox, tables

WALL = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


class Recorder:
    """A channel that keeps what it was given, and fails as often as told."""

    def __init__(self, *failures: Exception) -> None:
        self.sent: list[str] = []
        self.failures = list(failures)

    def send(self, topic: str, payload: str, *, retain: bool) -> None:
        if self.failures:
            raise self.failures.pop(0)
        self.sent.append(payload)


def put(engine: sa.Engine, *payloads: str, retain: bool = True, topic: str = "t") -> None:
    with database.write(engine) as conn:
        for payload in payloads:
            outbox.add(conn, channel="mqtt", topic=topic, payload=payload, retain=retain, wall=WALL)


def deliver(engine: sa.Engine, channel: Any, *, after_s: float = 0, worker: str = "w") -> int:
    return courier(engine, {"mqtt": channel}, after_s=after_s, worker=worker).deliver()


def courier(
    engine: sa.Engine, to: dict[str, Any], *, after_s: float = 0, worker: str = "w", **more: Any
) -> Courier:
    now = WALL + timedelta(seconds=after_s)
    clock = ServiceClock(wall_anchor=WALL, service_anchor=WALL, wall=lambda: now)
    return Courier(engine=engine, channels=to, clock=clock, worker=worker, random=Random(1), **more)


def states(engine: sa.Engine) -> list[str]:
    with database.read(engine) as conn:
        return list(conn.execute(sa.select(tables.outbox.c.state).order_by(tables.outbox.c.id)).scalars())


def row(engine: sa.Engine) -> Any:
    with database.read(engine) as conn:
        return conn.execute(sa.select(tables.outbox)).one()


def test_a_message_is_sent_once(engine: sa.Engine) -> None:
    channel = Recorder()
    put(engine, "a")
    assert [deliver(engine, channel), deliver(engine, channel)] == [1, 0]
    assert channel.sent == ["a"]
    assert states(engine) == ["sent"]


def test_lines_go_out_in_their_order(engine: sa.Engine) -> None:
    channel = Recorder()
    put(engine, "a", "b", "c", retain=False)
    assert deliver(engine, channel) == 3
    assert channel.sent == ["a", "b", "c"]


def test_only_the_newest_retained_state_is_sent(engine: sa.Engine) -> None:
    channel = Recorder()
    put(engine, "old", "new")
    put(engine, "of another press", topic="u")
    deliver(engine, channel)
    assert channel.sent == ["new", "of another press"]
    assert states(engine) == ["superseded", "sent", "sent"]


def test_a_failed_state_does_not_come_back_over_a_newer_one(engine: sa.Engine) -> None:
    class Interrupted(Recorder):
        def send(self, topic: str, payload: str, *, retain: bool) -> None:
            if payload == "old":
                put(engine, "new")  # the alarm changes while the broker is slow
                raise DeliveryError("no answer")
            super().send(topic, payload, retain=retain)

    channel = Interrupted()
    put(engine, "old")
    for after_s in (0, 10, 1_000):
        deliver(engine, channel, after_s=after_s)
    assert channel.sent == ["new"]
    assert states(engine) == ["superseded", "sent"]


def test_a_newer_state_waits_while_the_older_one_is_being_sent(engine: sa.Engine) -> None:
    put(engine, "old")
    with database.write(engine) as conn:
        assert outbox.claim(conn, 1, worker="other", wall=WALL, stale_before=WALL - timedelta(minutes=1))
    put(engine, "new")
    channel = Recorder()
    assert deliver(engine, channel, after_s=5) == 0
    with database.write(engine) as conn:
        outbox.sent(conn, 1, worker="other", wall=WALL)
    assert deliver(engine, channel, after_s=6) == 1


def test_a_temporary_error_is_tried_again_later(engine: sa.Engine) -> None:
    channel = Recorder(DeliveryError("the broker is away"))
    put(engine, "a")
    assert deliver(engine, channel) == 0
    waiting = row(engine)
    assert (waiting.state, waiting.attempts, waiting.last_error) == ("waiting", 1, "the broker is away")
    assert deliver(engine, channel, after_s=0.4) == 0
    assert deliver(engine, channel, after_s=1.1) == 1
    assert channel.sent == ["a"]


def test_a_permanent_error_ends_it(engine: sa.Engine) -> None:
    channel = Recorder(DeliveryError("no such topic", permanent=True))
    put(engine, "a")
    deliver(engine, channel)
    assert deliver(engine, channel, after_s=10_000) == 0
    assert (row(engine).state, row(engine).last_error) == ("failed", "no such topic")


def test_a_channel_that_does_not_exist_is_a_permanent_error(engine: sa.Engine) -> None:
    put(engine, "a")
    courier(engine, {}).deliver()
    assert row(engine).last_error == "no channel is called mqtt"


def test_a_claim_left_by_a_crash_is_taken_again_after_a_minute(engine: sa.Engine) -> None:
    class Crash(BaseException):
        """What no channel may catch."""

    class Crashing(Recorder):
        def send(self, topic: str, payload: str, *, retain: bool) -> None:
            raise Crash

    put(engine, "a")
    with pytest.raises(Crash):
        deliver(engine, Crashing(), worker="dead")
    assert states(engine) == ["sending"]
    channel = Recorder()
    assert deliver(engine, channel, after_s=59) == 0
    assert deliver(engine, channel, after_s=61) == 1
    assert channel.sent == ["a"]


def test_a_worker_that_lost_its_claim_has_no_say(engine: sa.Engine) -> None:
    put(engine, "a")
    later = WALL + timedelta(minutes=2)
    with database.write(engine) as conn:
        outbox.claim(conn, 1, worker="slow", wall=WALL, stale_before=WALL)
        assert outbox.claim(conn, 1, worker="quick", wall=later, stale_before=later - timedelta(minutes=1))
        outbox.failed(conn, 1, worker="slow", error="too late")
    assert states(engine) == ["sending"]


def test_of_many_workers_one_sends(engine: sa.Engine) -> None:
    put(engine, *map(str, range(20)), retain=False)
    channels_of = [Recorder() for _ in range(4)]
    together = Barrier(4)

    def work(number: int) -> int:
        together.wait()
        return deliver(engine, channels_of[number], worker=f"w{number}")

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(work, range(4))) == 20
    sent = [payload for channel in channels_of for payload in channel.sent]
    assert sorted(sent, key=int) == list(map(str, range(20)))


def test_waits_double_up_to_five_minutes_and_are_spread() -> None:
    random = Random(7)
    waits = [back_off(attempts, random) for attempts in range(1, 60)]
    for attempts, wait in enumerate(waits, start=1):
        whole = min(timedelta(seconds=2 ** min(attempts - 1, 20)), LONGEST_WAIT)
        assert whole / 2 <= wait <= whole
    assert len(set(waits)) == len(waits)


def test_the_log_channel_writes_one_line(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO, logger="evenrun.alarm"):
        LogChannel().send("t", "P1 alarm 3 occur", retain=False)
    assert [record.getMessage() for record in caplog.records] == ["P1 alarm 3 occur"]


def test_the_mqtt_channel_publishes_bytes() -> None:
    calls: list[tuple[str, bytes, bool]] = []
    channel = MqttChannel(lambda topic, payload, *, retain: calls.append((topic, payload, retain)))
    channel.send("t", "3.1 °C", retain=True)
    assert calls == [("t", "3.1 °C".encode(), True)]


@pytest.mark.parametrize(
    ("raised", "permanent"),
    [(ValueError("wildcard"), True), (OSError("away"), False), (RuntimeError("queue full"), False)],
)
def test_the_mqtt_channel_tells_what_can_be_tried_again(raised: Exception, permanent: bool) -> None:
    def publish(topic: str, payload: bytes, *, retain: bool) -> None:
        raise raised

    with pytest.raises(DeliveryError) as caught:
        MqttChannel(publish).send("t", "{}", retain=True)
    assert caught.value.permanent is permanent


def test_every_channel_module_is_listed() -> None:
    found = set()
    for module in pkgutil.iter_modules(channels.__path__):
        members = vars(importlib.import_module(f"{channels.__name__}.{module.name}")).values()
        found |= {one for one in members if inspect.isclass(one) and one.__name__.endswith("Channel")}
    assert found == set(CHANNELS.values())
