"""Parts at work against a real Mosquitto: sessions change hands, and so does the way presses are split."""

from __future__ import annotations

import logging
import time
from contextlib import AbstractContextManager, ExitStack

import pytest
import sqlalchemy as sa

from collector.store import database, leases
from collector.store.tables import shots
from tests.collector.pipelines import rows
from tests.collector.running import ON_SQLITE, running, settings_of
from tests.collector.shots_in import message
from tests.collector.sources.mqtt_helpers import gateway, wait_for
from tests.mosquitto_fixtures import Mosquitto

pytestmark = [pytest.mark.mosquitto, ON_SQLITE]
PRESSES = ("P1", "P2", "P3", "P4")


def collecting(store: sa.Engine, broker: Mosquitto, parts: int) -> AbstractContextManager[None]:
    return running(settings_of(store, broker, leases={"parts": parts, "lasts_s": 1.5}))


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
    mosquitto: Mosquitto, engine: sa.Engine
) -> None:
    old, new = ["evenrun-collector"], ["evenrun-collector-1-of-2", "evenrun-collector-2-of-2"]
    with collecting(engine, mosquitto, 1):
        wait_for(lambda: names(engine, ready=True) == old)
    publish(mosquitto, range(20))  # nobody is there, so the old session keeps them

    with collecting(engine, mosquitto, 2):
        wait_for(lambda: names(engine, ready=False) == new, 30)  # the old one is emptied and ended
        publish(mosquitto, range(20, 30))
        wait_for(lambda: stored(engine) == 30 * len(PRESSES))

    with collecting(engine, mosquitto, 1):
        wait_for(lambda: names(engine, ready=False) == old, 30)
        publish(mosquitto, range(30, 40))
        wait_for(lambda: stored(engine) == 40 * len(PRESSES))
        time.sleep(0.5)  # a doubled shot would come now

    assert stored(engine) == 40 * len(PRESSES)


def test_the_second_collector_says_who_is_first_and_goes_on_when_that_one_stops(
    mosquitto: Mosquitto, engine: sa.Engine, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "evenrun.leases")
    with ExitStack() as first:
        first.enter_context(collecting(engine, mosquitto, 1))
        wait_for(lambda: names(engine, ready=True) == ["evenrun-collector"])
        with collecting(engine, mosquitto, 1):
            wait_for(lambda: "collects here, and this one goes on when it stops" in caplog.text)
            publish(mosquitto, range(5))
            wait_for(lambda: stored(engine) == 5 * len(PRESSES))
            first.close()
            publish(mosquitto, range(5, 10))
            wait_for(lambda: stored(engine) == 10 * len(PRESSES))

    assert caplog.text.count("has the lease evenrun-collector") == 2
