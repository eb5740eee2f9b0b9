"""A press with something to act on, on each kind of database."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from tests.collector.alarms.floor import Floor


@pytest.fixture
def floor(engine: sa.Engine) -> Floor:
    """A press whose cushion fell: one active alarm with a growing hold."""
    floor = Floor(engine)
    floor.make(floor.steady(120))
    floor.make(floor.steady(8, 2, cushion=-0.9))
    return floor
