"""The collector backs up and archives by itself, as often as the settings say and no more."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import StoreError, UserError
from collector.jobs import backup, retention
from collector.jobs.job import Shop
from collector.keeping import backup as backups
from collector.settings import Settings
from collector.settings_keeping import Backup, Retention
from collector.store import database, shots, tables
from collector.vitals import Vitals
from tests.store_fixtures import STARTED, Seeded, a_shot

WALL = datetime(2026, 11, 27, 3, 0, tzinfo=UTC)


def shop(engine: sa.Engine, *, after: timedelta = timedelta(), **changed: object) -> Shop:
    clock = ServiceClock(wall_anchor=WALL, service_anchor=WALL, wall=lambda: WALL + after)
    return Shop(
        engine=engine, settings=Settings(**changed), clock=clock,  # type: ignore[arg-type]
        random=Random(1), deliver_soon=lambda: None,
        vitals=Vitals(WALL, broker=lambda: None, protocol=lambda: "5", in_hand=lambda: 0),
    )  # fmt: skip


@pytest.fixture
def store(seeded: Seeded) -> Seeded:
    if seeded.engine.dialect.name == "postgresql":
        pytest.skip("what the jobs decide does not depend on the database")
    return seeded


def test_a_copy_is_made_when_the_newest_is_a_day_old(store: Seeded, tmp_path: Path) -> None:
    chosen = Backup(folder=tmp_path / "copies", every_h=24, keep=5)
    for hours in (0, 1, 23, 24, 30, 48):
        backup.back_up(shop(store.engine, after=timedelta(hours=hours), backup=chosen))

    made = [backups.note_of(copy).made_at for copy in backups.copies(tmp_path / "copies")]
    assert made == [(WALL + timedelta(days=days)).isoformat() for days in range(3)]


def test_copies_of_a_clock_that_was_ahead_stop_no_backup(store: Seeded, tmp_path: Path) -> None:
    chosen = Backup(folder=tmp_path / "copies", every_h=24, keep=2)
    for days in (365, 367, 1):
        backup.back_up(shop(store.engine, after=timedelta(days=days), backup=chosen))

    made = [backups.note_of(copy).made_at for copy in backups.copies(tmp_path / "copies")]
    assert made == [(WALL + timedelta(days=days)).isoformat() for days in (1, 367)]


@pytest.mark.parametrize(("note", "says"), [(None, "has no note"), ("{", r"note .* cannot be read")])
def test_a_note_that_cannot_be_read_is_said_and_not_overlooked(
    store: Seeded, tmp_path: Path, note: str | None, says: str
) -> None:
    copy = tmp_path / "evenrun-20261101T030000Z.db"
    copy.touch()
    if note is not None:
        copy.with_name(copy.name + backups.NOTE).write_text(note)

    with pytest.raises(UserError, match=says):
        backup.back_up(shop(store.engine, backup=Backup(folder=tmp_path)))


def test_old_runs_move_by_themselves(store: Seeded, tmp_path: Path) -> None:
    with database.write(store.engine) as conn:
        conn.execute(sa.update(tables.runs).values(closed_at=STARTED))
    chosen = Retention(values_days=30, folder=tmp_path / "archive")

    early = retention.move_old_values(shop(store.engine, after=timedelta(days=20), retention=chosen))
    late = retention.move_old_values(shop(store.engine, after=timedelta(days=40), retention=chosen))

    assert early.startswith("moved 0 runs")
    assert late.startswith("moved 1 runs")
    assert [path.suffix for path in (tmp_path / "archive").iterdir()] == [".parquet"]


def test_one_run_that_cannot_move_keeps_no_other_in_the_store(store: Seeded, tmp_path: Path) -> None:
    with database.write(store.engine) as conn:
        conn.execute(sa.update(tables.runs).values(closed_at=STARTED))
        conn.execute(sa.update(tables.shots).values(digest=b"not its own"))
        row = dict(conn.execute(sa.select(tables.runs)).mappings().one()) | {"name": "R-later"}
        row |= {"id": store.run_id + 1, "closed_at": STARTED + timedelta(hours=1)}
        conn.execute(sa.insert(tables.runs).values(**row))
        shots.insert(conn, [a_shot(press_id=store.press_id, run_id=store.run_id + 1, counter=9000)])
    chosen = Retention(values_days=30, folder=tmp_path / "archive")

    with pytest.raises(StoreError, match=r"moved 1 runs.*1 stay: shot 1 no longer has the digest"):
        retention.move_old_values(shop(store.engine, after=timedelta(days=40), retention=chosen))

    assert ["R-later" in path.name for path in (tmp_path / "archive").iterdir()] == [True]


def test_without_settings_nothing_is_moved_or_copied(store: Seeded) -> None:
    assert "no backup.folder is set" in backup.back_up(shop(store.engine))
    assert "no retention.values_days is set" in retention.move_old_values(shop(store.engine))
