"""An empty store and a press on it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.store import database
from tests.collector.alarms.floor import Floor


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[sa.Engine]:
    """An upgraded SQLite store."""
    engine = database.open_engine(f"sqlite:///{tmp_path / 'evenrun.db'}")
    database.upgrade(engine)
    yield engine
    engine.dispose()


@pytest.fixture
def floor(engine: sa.Engine) -> Floor:
    """One press with firm limits."""
    return Floor(engine)
