"""Values of a run move to a file and come back to the last bit; what the file holds can be read elsewhere.

Parquet is read back with pandas, which knows nothing of ours.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa

from collector.clock import ServiceClock, real_clock
from collector.contract.policy import Policy as Intake
from collector.errors import NotAllowed, StoreError, UserError
from collector.keeping import archive
from collector.pipeline import Pipeline
from collector.store import archives, database, journal, shots, tables
from collector.verdict import Policy
from tests.collector.actions.test_two_at_once import at_once
from tests.collector.pipelines import NOW, messages, pipeline, told, told_of
from tests.collector.shots_in import START, cushions, message
from tests.store_fixtures import STARTED, Seeded, a_shot

CLOSED = datetime(2026, 11, 25, tzinfo=UTC)


@pytest.fixture
def closed(seeded: Seeded) -> Seeded:
    with database.write(seeded.engine) as conn:
        conn.execute(sa.update(tables.runs).values(closed_at=CLOSED))
    return seeded


@pytest.fixture
def clock() -> ServiceClock:
    return real_clock()


def move(store: Seeded, folder: Path, clock: ServiceClock) -> Path:
    return archive.archive_run(store.engine, store.run_id, folder, who="service", clock=clock)


def rows(engine: sa.Engine) -> list[tuple[object, ...]]:
    with database.read(engine) as conn:
        return [tuple(row) for row in conn.execute(sa.select(tables.shots).order_by(tables.shots.c.id))]


def test_values_come_back_as_they_were(closed: Seeded, tmp_path: Path, clock: ServiceClock) -> None:
    before = rows(closed.engine)
    move(closed, tmp_path, clock)
    assert rows(closed.engine) != before

    count = archive.restore_run(closed.engine, closed.run_id, tmp_path, who="quality 1", clock=clock)

    with database.read(closed.engine) as conn:
        assert (count, shots.broken_digests(conn)) == (100, [])
        assert [step.action for step in conn.execute(sa.select(tables.journal))] == [
            "move values of run to file", "restore values of run",
        ]  # fmt: skip
        assert journal.verify(conn) == []
    assert rows(closed.engine) == before


def test_another_program_reads_the_values(closed: Seeded, tmp_path: Path, clock: ServiceClock) -> None:
    path = move(closed, tmp_path, clock)

    frame = pd.read_parquet(path)

    assert len(frame) == 100
    assert frame["value:cushion"].eq(6.2).all()
    assert frame["value:injection_time"].tolist() == [2.4 + 0.001 * (n % 7) for n in range(100)]
    assert pd.to_datetime(frame["ended_at"].iloc[0], unit="us", utc=True) == STARTED


def test_a_shot_that_is_archived_is_still_known(closed: Seeded, tmp_path: Path, clock: ServiceClock) -> None:
    move(closed, tmp_path, clock)

    with pytest.raises(sa.exc.IntegrityError), database.write(closed.engine) as conn:
        shots.insert(conn, [a_shot(press_id=closed.press_id, counter=5)])
    with database.read(closed.engine) as conn:
        assert all(archives.is_moved(conn, shot_id) for shot_id in closed.shot_ids)


def test_only_old_closed_runs_are_due(closed: Seeded) -> None:
    with database.read(closed.engine) as conn:
        assert archive.due(conn, now=CLOSED + timedelta(days=30, seconds=1), values_days=30) == [
            closed.run_id
        ]
        assert archive.due(conn, now=CLOSED + timedelta(days=30), values_days=30) == []


def test_a_run_whose_discs_are_still_on_hold_stays(closed: Seeded) -> None:
    with database.write(closed.engine) as conn:
        conn.execute(
            sa.insert(tables.holds).values(
                press_id=closed.press_id,
                run_id=closed.run_id,
                from_shot_id=closed.shot_ids[50],
                state="open",
                reason="dome",
                opened_by="quality 1",
                opened_at=CLOSED,
            )
        )
        assert archive.due(conn, now=CLOSED + timedelta(days=99), values_days=30) == []


def test_an_open_run_is_refused(seeded: Seeded, tmp_path: Path, clock: ServiceClock) -> None:
    with pytest.raises(NotAllowed, match="still open"):
        move(seeded, tmp_path, clock)


def test_a_run_moves_once(closed: Seeded, tmp_path: Path, clock: ServiceClock) -> None:
    move(closed, tmp_path, clock)

    with pytest.raises(NotAllowed, match="in the archive already"):
        move(closed, tmp_path, clock)


def test_a_shot_that_was_tampered_with_keeps_its_run_in_the_store(
    closed: Seeded, tmp_path: Path, clock: ServiceClock
) -> None:
    with database.write(closed.engine) as conn:
        first = tables.shots.c.id == closed.shot_ids[0]
        conn.execute(sa.update(tables.shots).where(first).values(characteristics={"cushion": 6.3}))
    before = rows(closed.engine)

    with pytest.raises(StoreError, match="no longer has the digest"):
        move(closed, tmp_path / "archive", clock)

    assert rows(closed.engine) == before
    assert list((tmp_path / "archive").iterdir()) == []


def test_a_file_that_was_changed_is_not_put_back(closed: Seeded, tmp_path: Path, clock: ServiceClock) -> None:
    path = move(closed, tmp_path, clock)
    path.write_bytes(path.read_bytes()[:-1])

    with pytest.raises(UserError, match="missing or was changed"):
        archive.restore_run(closed.engine, closed.run_id, tmp_path, who="quality 1", clock=clock)


def test_a_name_with_a_path_in_it_stays_in_the_folder(
    closed: Seeded, tmp_path: Path, clock: ServiceClock
) -> None:
    with database.write(closed.engine) as conn:
        conn.execute(sa.update(tables.runs).values(name="../../R 1"))

    path = move(closed, tmp_path, clock)

    assert path.resolve().parent == tmp_path.resolve()


@pytest.mark.parametrize("name", ["\u56de" * 60, "x" * 200])
def test_a_run_with_a_long_name_moves_and_comes_back(
    closed: Seeded, tmp_path: Path, clock: ServiceClock, name: str
) -> None:
    """A sign of three bytes takes nine in the file's name, of which most file systems take 255 bytes."""
    with database.write(closed.engine) as conn:
        conn.execute(sa.update(tables.runs).values(name=name))

    path = move(closed, tmp_path, clock)

    assert len(path.name.encode()) < 255
    assert archive.restore_run(closed.engine, closed.run_id, tmp_path, who="quality 1", clock=clock) == 100


def test_a_shot_that_comes_again_after_its_values_moved_is_kept_beside_them(
    engine: sa.Engine, tmp_path: Path
) -> None:
    now = START + timedelta(days=40)
    clock = ServiceClock(wall_anchor=now, service_anchor=now, wall=lambda: now)
    taker = Pipeline(
        engine, policy=Policy(vital=frozenset({"cushion"})), intake=Intake(), clock=clock, wall=lambda: now
    )
    taker.take([message(n, {"cushion": x}) for n, x in enumerate(cushions(30))])
    with database.write(engine) as conn:
        conn.execute(sa.update(tables.runs).values(closed_at=START + timedelta(days=1)))
        run_id = conn.execute(sa.select(tables.runs.c.id)).scalar_one()
    archive.archive_run(engine, run_id, tmp_path / "archive", who="service", clock=clock)

    counts = taker.take([message(3, {"cushion": 9.9})])

    assert (counts.duplicates, counts.amended, counts.stored) == (1, 0, 0)
    with database.read(engine) as conn:
        event = conn.execute(sa.select(tables.events).where(tables.events.c.kind == "late")).one()
    assert event.new == {"cushion": 9.9}
    assert archive.restore_run(engine, run_id, tmp_path / "archive", who="quality 1", clock=clock) == 30


def archived(engine: sa.Engine, folder: Path, clock: ServiceClock) -> int:
    """The run of a store is closed and its values move."""
    with database.write(engine) as conn:
        for table in (tables.runs, tables.alarms, tables.holds):
            conn.execute(sa.update(table).values(closed_at=NOW))
        run_id = int(conn.execute(sa.select(tables.runs.c.id)).scalar_one())
    archive.archive_run(engine, run_id, folder, who="service", clock=clock)
    return run_id


def test_a_straggler_of_an_archived_run_unsays_no_signal_of_it(
    engine: sa.Engine, tmp_path: Path, clock: ServiceClock
) -> None:
    batch = messages(cushions(90, shift=5.0, shift_from=70))
    taker = pipeline(engine)
    taker.take(batch[:60] + batch[61:])
    said = told(engine)
    assert said
    archived(engine, tmp_path / "archive", clock)

    assert taker.take([batch[60]]).late == 1

    assert told(engine) == said
    with database.read(engine) as conn:
        late = sa.select(tables.events.c.note).where(tables.events.c.kind == "late")
        assert any("no chart judged it" in note for note in conn.execute(late).scalars())


def test_with_its_values_a_run_is_judged_again_when_stragglers_came_meanwhile(
    engine: sa.Engine, tmp_path: Path, clock: ServiceClock
) -> None:
    """Held against a store to which every shot came in order; the shift is at the shots that came late."""
    values = cushions(90, shift=5.0, shift_from=60)
    batch = messages(values)
    taker = pipeline(engine)
    taker.take(batch[:60])
    taker.take(batch[75:])
    run_id = archived(engine, tmp_path / "archive", clock)
    taker.take(batch[60:75])
    assert told(engine) != told_of(batch)

    archive.restore_run(engine, run_id, tmp_path / "archive", who="quality 1", clock=clock)

    assert told(engine) == told_of(batch)
    with database.read(engine) as conn:
        reasons = set(conn.execute(sa.select(tables.signals.c.changed)).scalars())
    assert "15 late shots judged when the run's values came back" in reasons
    taker.take([message(90, {"cushion": 5.0})])


def test_a_correction_that_comes_while_the_run_is_copied_is_not_lost(
    engine: sa.Engine, tmp_path: Path, clock: ServiceClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was copied is older than what is in the store, so nothing may leave it."""
    taker = pipeline(engine)
    taker.take(messages(cushions(30)))
    looked = archive._check

    def corrected(path: Path, ids: list[int]) -> dict[int, bytes]:
        found = looked(path, ids)
        assert taker.take([message(3, {"cushion": 9.9})]).amended == 1
        return found

    monkeypatch.setattr(archive, "_check", corrected)

    with pytest.raises(NotAllowed, match="changed while it was copied"):
        archived(engine, tmp_path / "archive", clock)

    with database.read(engine) as conn:
        values = conn.execute(sa.select(tables.shots.c.characteristics).order_by(tables.shots.c.id)).scalars()
        assert list(values)[3] == {"cushion": 9.9}
    assert list((tmp_path / "archive").iterdir()) == []


def test_of_two_that_move_one_run_at_once_the_first_has_it(
    closed: Seeded, tmp_path: Path, clock: ServiceClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked, number = archive._check, iter((2, 1))
    monkeypatch.setattr("os.getpid", lambda: next(number))

    def other_first(path: Path, ids: list[int]) -> dict[int, bytes]:
        monkeypatch.setattr(archive, "_check", looked)
        move(closed, tmp_path / "archive", clock)
        return looked(path, ids)

    monkeypatch.setattr(archive, "_check", other_first)

    with pytest.raises(NotAllowed, match="in the archive already"):
        move(closed, tmp_path / "archive", clock)

    assert len(list((tmp_path / "archive").iterdir())) == 1
    folder = tmp_path / "archive"
    assert archive.restore_run(closed.engine, closed.run_id, folder, who="quality 1", clock=clock) == 100


def test_of_two_that_restore_one_run_at_once_one_does(
    closed: Seeded, tmp_path: Path, clock: ServiceClock
) -> None:
    for _ in range(5):
        move(closed, tmp_path, clock)
        said = at_once(*(
            partial(archive.restore_run, closed.engine, closed.run_id, tmp_path, who=who, clock=clock)
            for who in ("quality 1", "quality 2")
        ))  # fmt: skip
        assert sorted(said) == ["", f"run {closed.run_id} is not in the archive"]


def test_a_run_with_an_open_alarm_is_not_moved_by_its_name_either(
    engine: sa.Engine, tmp_path: Path, clock: ServiceClock
) -> None:
    pipeline(engine).take(messages(cushions(90, shift=5.0, shift_from=70)))
    with database.write(engine) as conn:
        conn.execute(sa.update(tables.runs).values(closed_at=NOW))
        run_id = conn.execute(sa.select(tables.runs.c.id)).scalar_one()

    with pytest.raises(NotAllowed, match="alarm that is not closed"):
        archive.archive_run(engine, run_id, tmp_path, who="service", clock=clock)
