"""The collector takes foreign topics by their mapping, keeps what it cannot read, and replays it mended."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from paho.mqtt.client import Client, MQTTMessage

from collector.cli import main
from collector.settings import load_settings
from collector.store import database
from collector.store.tables import refusals, shots
from tests.collector.contract.foreign import NESTED, NESTED_MAPPING
from tests.collector.pipelines import rows
from tests.collector.running import running
from tests.collector.sources.mqtt_helpers import gateway, wait_for
from tests.mosquitto_fixtures import Mosquitto

pytestmark = pytest.mark.mosquitto
TOPIC = "plant/lowland/machine-7/cycle"
MISTAKEN = NESTED_MAPPING.replace('"/process/injection/pmax"', '"/process/injection/pmaxx"\nrequired = true')


def write_settings(port: int, mapping: str) -> None:
    text = f'database_url = "sqlite:///store.db"\n[broker]\nport = {port}\npassword = "collector-secret"\n'
    Path("evenrun.toml").write_text(text + mapping, encoding="utf-8")


@contextmanager
def collecting() -> Iterator[sa.Engine]:
    """A collector in a thread, and its store."""
    settings = load_settings()
    engine = database.open_engine(settings.database_url)
    database.upgrade(engine)  # so that the store can be asked from the first moment on
    try:
        with running(settings):
            yield engine
    finally:
        engine.dispose()


def wait_until_subscribed(client: Client) -> None:
    """The collector says that it is online right after it has subscribed, and the broker keeps the order."""
    online = threading.Event()

    def on_message(_client: Client, _data: Any, message: MQTTMessage) -> None:
        if json.loads(message.payload)["state"] == "online":
            online.set()

    client.on_message = on_message
    client.subscribe("evenrun/1/lowland/collector/state", 1)
    assert online.wait(10)


def publish(client: Client, counters: range, start: datetime) -> None:
    for counter in counters:
        ts = (start + timedelta(minutes=counter)).timestamp() * 1000
        message = {**NESTED, "header": {**NESTED["header"], "seq": counter, "ts": ts}}
        client.publish(TOPIC, json.dumps(message), qos=1).wait_for_publish(10)


def test_foreign_messages_become_shots_and_a_mended_mapping_takes_what_was_refused(
    mosquitto: Mosquitto,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    for name in [name for name in os.environ if name.startswith("EVENRUN_")]:
        monkeypatch.delenv(name)
    start = datetime.now(UTC) - timedelta(hours=1)
    write_settings(mosquitto.port, MISTAKEN)
    with collecting() as engine, gateway(mosquitto.port) as client:
        wait_until_subscribed(client)
        publish(client, range(1, 6), start)
        wait_for(lambda: len(rows(engine, refusals.c.id)) == 5)
        assert rows(engine, shots.c.id) == []
        (reason, topic, raw), *_ = rows(engine, refusals.c.reason, refusals.c.topic, refusals.c.raw)

    assert (reason, topic) == ("missing_field", TOPIC)
    assert json.loads(bytes(raw))["header"]["seq"] == 1  # type: ignore[call-overload]

    write_settings(mosquitto.port, NESTED_MAPPING)
    with pytest.raises(SystemExit):
        main(["refused", "--replay"])
    assert "Replayed: 5 read now, 0 still do not." in capsys.readouterr().out

    with collecting() as engine, gateway(mosquitto.port) as client:
        wait_for(lambda: len(rows(engine, shots.c.id)) == 5)
        publish(client, range(4, 8), start)  # two of them a second time
        wait_for(lambda: len(rows(engine, shots.c.id)) >= 7)
        counters = [row[0] for row in rows(engine, shots.c.counter)]

    assert counters == list(range(1, 8))
