"""A press on an empty store, on each kind of database."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from tests.collector.alarms.floor import Floor


@pytest.fixture
def floor(engine: sa.Engine) -> Floor:
    """One press with firm limits."""
    return Floor(engine)
