"""The stores that the tests of the audit read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from zoneinfo import ZoneInfo

import pytest
import sqlalchemy as sa

from collector.settings import Settings
from collector.store import database
from dashboard.audit import find
from dashboard.audit.audit import Audit, audit
from dashboard.audit.collect import collect
from tests.dashboard.audit import floor


@pytest.fixture(scope="session")
def warm_run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[sa.Engine]:
    """A run whose mold core was warm for 50 shots, gauged a day later. Nobody may change it."""
    folder = tmp_path_factory.mktemp("warm")
    engine = floor.new_store(folder)
    floor.store_run(engine, folder)
    floor.gauge(engine, folder)
    yield engine
    engine.dispose()


def audit_of(
    engine: sa.Engine, run: str = floor.RUN, settings: Settings | None = None, **more: object
) -> Audit:
    """The audit of a run, its evidence taken at one fixed moment."""
    with database.read(engine) as conn:
        run_id = find.by_name(conn, run)
        evidence = collect(
            conn, run_id, settings=settings or Settings(), taken_at=floor.NOW, **more,  # type: ignore[arg-type]
        )  # fmt: skip
    return audit(evidence, ZoneInfo("UTC"))


@pytest.fixture
def audited() -> Callable[..., Audit]:
    """The function that audits a run of a store."""
    return audit_of


@pytest.fixture(scope="session")
def warm(warm_run: sa.Engine) -> Audit:
    """The audit of that run, with a tolerance of dome."""
    tolerance = {"Larch 5": {"dome": {"low": 2.2, "high": 3.0}}}
    return audit_of(warm_run, settings=Settings.model_validate({"tolerance": tolerance}))
