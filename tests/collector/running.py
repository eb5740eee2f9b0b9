"""The whole collector in a thread, on a store and a broker of the test."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import sqlalchemy as sa

from collector.service import collect
from collector.settings import Settings
from tests.mosquitto_fixtures import Mosquitto

# What the collector does beside the broker does not depend on the database, and one of them is enough.
ON_SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def settings_of(store: sa.Engine, broker: Mosquitto, **more: Any) -> Settings:
    """Settings of a collector that takes from this broker."""
    url = store.url.render_as_string(hide_password=False)
    reached = {"port": broker.port, "password": "collector-secret"}
    return Settings.model_validate({"database_url": url, "broker": reached, **more})


@contextmanager
def running(settings: Settings) -> Iterator[None]:
    """A collector, stopped in good order at the end."""
    stop = threading.Event()
    thread = threading.Thread(target=collect, args=(settings,), kwargs={"stop": stop})
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(20)
