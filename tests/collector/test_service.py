"""What the threads that empty the outbox do when something goes wrong."""

from __future__ import annotations

import os
import socket
import threading
import time
from datetime import UTC, datetime
from random import Random
from typing import Any

import pytest
import sqlalchemy as sa

from collector.alarms import deliver, delivering
from collector.alarms.delivering import Delivery, worker_name
from collector.clock import real_clock
from collector.store import database, heartbeats, outbox, tables
from tests.collector.running import ON_SQLITE, running, settings_of
from tests.collector.sources.mqtt_helpers import wait_for
from tests.mosquitto_fixtures import Mosquitto

WALL = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


class Recorder:
    """A channel that keeps what it was given."""

    def __init__(self) -> None:
        self.sent: list[str] = []
        self.came = threading.Event()

    def send(self, topic: str, payload: str, *, retain: bool) -> None:
        self.sent.append(payload)
        self.came.set()


class Hanging:
    """A channel that does not come back until the test ends."""

    def __init__(self) -> None:
        self.inside, self.free = threading.Event(), threading.Event()

    def send(self, topic: str, payload: str, *, retain: bool) -> None:
        self.inside.set()
        self.free.wait(20)


def delivery(engine: sa.Engine, shared: dict[str, Any], people: dict[str, Any] | None = None) -> Delivery:
    return Delivery(
        engine, shared, people or {}, tell_people=lambda: 0, clock=real_clock(), random=Random(20)
    )


def put(engine: sa.Engine, channel: str, payload: str, *, once: bool = False) -> int:
    with database.write(engine) as conn:
        return outbox.add(
            conn, channel=channel, topic="t", payload=payload, retain=False, wall=WALL, once=once
        )


def states(engine: sa.Engine) -> list[str]:
    with database.read(engine) as conn:
        return list(conn.execute(sa.select(tables.outbox.c.state).order_by(tables.outbox.c.id)).scalars())


def test_delivery_goes_on_after_an_error_that_nobody_foresaw(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    rounds, second = [], threading.Event()

    def defect(_: object) -> int:
        rounds.append(1)
        if len(rounds) == 1:
            raise RuntimeError("a defect of ours")
        second.set()
        return 0

    monkeypatch.setattr(deliver.Courier, "deliver", defect)
    working = delivery(engine, {})
    working.start()
    working.soon()
    while not rounds:
        time.sleep(0.01)
    working.soon()

    assert second.wait(5.0)
    working.stop()


def test_a_channel_that_hangs_delays_no_other(engine: sa.Engine) -> None:
    hanging, phone, broker = Hanging(), Recorder(), Recorder()
    for channel in ("stuck", "phone", "mqtt"):
        put(engine, channel, channel, once=channel != "mqtt")
    working = delivery(engine, {"mqtt": broker}, {"stuck": hanging, "phone": phone})
    working.start()
    working.soon()

    assert hanging.inside.wait(10)
    assert phone.came.wait(10)
    assert broker.came.wait(10)
    hanging.free.set()
    working.stop()
    assert (phone.sent, broker.sent) == (["phone"], ["mqtt"])


def test_channels_that_hang_do_not_keep_the_process_from_ending(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(delivering, "STOP_S", 0.5)
    stuck = {name: Hanging() for name in ("a", "b", "c")}
    for name in stuck:
        put(engine, name, name, once=True)
    working = delivery(engine, {}, dict(stuck))
    working.start()
    working.soon()
    for each in stuck.values():
        assert each.inside.wait(10)
    began = time.monotonic()
    working.stop()
    took_s = time.monotonic() - began
    assert states(engine) == ["sending"] * 3
    for each in stuck.values():
        each.free.set()
    monkeypatch.setattr(delivering, "STOP_S", 20.0)
    working.stop()  # now they do end
    assert took_s < 5.0, "half a second for all, not ten for each"


@pytest.mark.parametrize(("once", "becomes", "times"), [(False, "sent", 1), (True, "maybe_sent", 0)])
@pytest.mark.parametrize("worker", ["its own number again", "a number that is free"])
def test_what_a_killed_collector_had_in_hand_is_taken_up_at_once(
    engine: sa.Engine, worker: str, once: bool, becomes: str, times: int
) -> None:
    number = os.getpid() if worker.startswith("its own") else 2**22 + 1  # above the largest process number
    left = put(engine, "mqtt", "a", once=once)
    wall = real_clock().wall()
    with database.write(engine) as conn:
        assert outbox.claim(
            conn, left, worker=f"{socket.gethostname()}:{number}", wall=wall, stale_before=wall
        )
    broker = Recorder()
    working = delivery(engine, {"mqtt": broker})
    working.start()
    working.soon()
    end = time.monotonic() + 10
    while states(engine) != [becomes] and time.monotonic() < end:
        time.sleep(0.02)
    working.stop()
    assert states(engine) == [becomes]
    assert broker.sent == ["a"] * times


def test_a_claim_of_another_machine_is_left_alone(engine: sa.Engine) -> None:
    left = put(engine, "mqtt", "a")
    wall = real_clock().wall()
    with database.write(engine) as conn:
        outbox.claim(conn, left, worker="elsewhere:1", wall=wall, stale_before=wall)
    working = delivery(engine, {"mqtt": Recorder()})
    working.start()
    working.stop()
    assert states(engine) == ["sending"]
    assert worker_name() != "elsewhere:1"


@pytest.mark.mosquitto
@ON_SQLITE
def test_a_collector_that_is_told_to_end_says_so(engine: sa.Engine, mosquitto: Mosquitto) -> None:
    def spoke() -> heartbeats.Beat | None:
        with database.read(engine) as conn:
            return heartbeats.last(conn, f"collector {worker_name()}")

    with running(settings_of(engine, mosquitto)):
        wait_for(lambda: spoke() is not None)
        assert (found := spoke()) is not None
        assert not found.stopped

    assert (found := spoke()) is not None
    assert found.stopped
