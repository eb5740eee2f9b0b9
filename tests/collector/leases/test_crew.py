"""Parts at work against a real Mosquitto: sessions change hands, and so does the way presses are split."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.service import collect
from collector.settings import Settings
from collector.store import database, leases
from collector.store.tables import shots
from tests.collector.pipelines import rows
from tests.collector.shots_in import message
from tests.collector.sources.mqtt_helpers import gateway, wait_for
from tests.mosquitto_fixtures import Mosquitto

pytestmark = pytest.mark.mosquitto
PRESSES = ("P1", "P2", "P3", "P4")


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[sa.Engine]:
    monkeypatch.chdir(tmp_path)
    engine = database.open_engine("sqlite:///store.db")
    database.upgrade(engine)
    yield engine
    engine.dispose()


@contextmanager
def collecting(broker: Mosquitto, parts: int) -> Iterator[None]:
    """A collector in a thread."""
    settings = Settings.model_validate(
        {
            "database_url": "sqlite:///store.db",
            "broker": {"port": broker.port, "password": "collector-secret"},
            "leases": {"parts": parts, "lasts_s": 1.5},
        }
    )
    stop = threading.Event()
    thread = threading.Thread(target=collect, args=(settings,), kwargs={"stop": stop})
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(20)


def publish(broker: Mosquitto, numbers: range) -> None:
    with gateway(broker.port) as client:
        for number in numbers:
            for press in PRESSES:
                incoming = message(number, {"cushion": 6.0}, press=press)
                client.publish(incoming.topic, incoming.payload, qos=1).wait_for_publish(10)


def stored(engine: sa.Engine) -> int:
    return len(rows(engine, shots.c.id))


def names(engine: sa.Engine, *, ready: bool) -> list[str]:
    with database.read(engine) as conn:
        return [each.name for each in leases.of_site(conn, "lowland") if ready <= (each.ready_at is not None)]


@pytest.mark.slow
def test_presses_that_are_split_anew_lose_nothing_that_the_old_session_still_has(
    mosquitto: Mosquitto, store: sa.Engine
) -> None:
    old, new = ["evenrun-collector"], ["evenrun-collector-1-of-2", "evenrun-collector-2-of-2"]
    with collecting(mosquitto, 1):
        wait_for(lambda: names(store, ready=True) == old)
    publish(mosquitto, range(20))  # nobody is there, so the old session keeps them

    with collecting(mosquitto, 2):
        wait_for(lambda: names(store, ready=False) == new, 30)  # the old one is emptied and ended
        publish(mosquitto, range(20, 30))
        wait_for(lambda: stored(store) == 30 * len(PRESSES))

    with collecting(mosquitto, 1):
        wait_for(lambda: names(store, ready=False) == old, 30)
        publish(mosquitto, range(30, 40))
        wait_for(lambda: stored(store) == 40 * len(PRESSES))
        time.sleep(0.5)  # a doubled shot would come now

    assert stored(store) == 40 * len(PRESSES)


def test_the_second_collector_says_who_is_first_and_goes_on_when_that_one_stops(
    mosquitto: Mosquitto, store: sa.Engine, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "evenrun.leases")
    with ExitStack() as first:
        first.enter_context(collecting(mosquitto, 1))
        wait_for(lambda: names(store, ready=True) == ["evenrun-collector"])
        with collecting(mosquitto, 1):
            wait_for(lambda: "collects here, and this one goes on when it stops" in caplog.text)
            publish(mosquitto, range(5))
            wait_for(lambda: stored(store) == 5 * len(PRESSES))
            first.close()
            publish(mosquitto, range(5, 10))
            wait_for(lambda: stored(store) == 10 * len(PRESSES))

    assert caplog.text.count("has the lease evenrun-collector") == 2
