"""Whoever changes a stored row or the journal behind the service's back is found out.

The rows are changed by plain SQL, with the guards of the journal taken off first, as somebody with the
database's password could. Folds are recomputed here from the description, with hashlib alone.
"""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.actions import gaugings as gauging_actions
from collector.actions import holds as hold_actions
from collector.clock import ServiceClock
from collector.gauging.model import NewGauging
from collector.jobs import journal_head
from collector.proof import heads, openings, seal
from collector.proof.check import Checked, check
from collector.settings import load_settings
from collector.store import digest, journal, tables
from collector.store.database import read, write
from collector.store.shots import insert
from tests.store_fixtures import MakeShot, Seeded

START = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
GUARDS = {
    "sqlite": ["DROP TRIGGER journal_no_update", "DROP TRIGGER journal_no_delete"],
    "postgresql": ["ALTER TABLE journal DISABLE TRIGGER USER"],
}


@dataclass
class Kept:
    """A store with a day in it, sealed, and some acts of the next day."""

    seeded: Seeded
    heads_file: Path
    wall: datetime = START

    @property
    def engine(self) -> sa.Engine:
        return self.seeded.engine

    @property
    def clock(self) -> ServiceClock:
        return ServiceClock(wall_anchor=START, service_anchor=START, wall=lambda: self.wall)

    def hold(self, first: int, last: int) -> int:
        ids = self.seeded.shot_ids
        return hold_actions.open_by_hand(
            self.engine, from_shot_id=ids[first], to_shot_id=ids[last], who="operator 1", clock=self.clock,
            reason="black specks",
        )  # fmt: skip

    def gauge(self, counter: int, value: float) -> None:
        new = NewGauging(
            site="lowland", press="P1", counter=counter, characteristic="dome", value=value, unit="mm",
            gauged_at=self.wall, gauge="height gauge 1",
        )  # fmt: skip
        gauging_actions.enter(self.engine, new, who="operator 1", clock=self.clock)

    def job(self) -> None:
        with read(self.engine) as conn:
            due = seal.is_due(conn, wall=self.wall)
        if due:
            journal_head.seal_and_publish(self.engine, "lowland", self.clock)
        journal_head.export(self.engine, self.heads_file)

    def spoil(self, *statements: str) -> None:
        with write(self.engine) as conn:
            for each in (*GUARDS[self.engine.dialect.name], *statements):
                conn.exec_driver_sql(each)

    def checked(self) -> Checked:
        with read(self.engine) as conn:
            return check(conn, heads.read(self.heads_file))

    def findings(self) -> str:
        return "\n".join(self.checked().findings)


@pytest.fixture
def kept(seeded: Seeded, tmp_path: Path) -> Kept:
    """Three acts and a hundred shots under a seal, three acts after it."""
    kept = Kept(seeded, tmp_path / "heads.jsonl")
    kept.hold(10, 20)
    kept.gauge(12, 2.31)
    kept.gauge(13, 2.34)
    with write(kept.engine) as conn:
        closed = {
            "closed_at": START,
            "closed_by": "technician 1",
            "cause": "new lot",
            "acknowledged_at": START,
        }
        conn.execute(
            sa.insert(tables.alarms).values(
                press_id=seeded.press_id, kind="process", state="normal", opened_at=START, changed_at=START,
                quiet_shots=0, characteristics=[], headline="Cushion 0.2 mm lower", **closed,
            )
        )  # fmt: skip
    kept.job()
    kept.wall += timedelta(hours=1)
    kept.hold(30, 40)
    kept.gauge(14, 2.36)
    hold_actions.scrap(kept.engine, 2, who="quality 1", clock=kept.clock, reason="specks in 4 of 5")
    return kept


def test_an_untouched_store_holds(kept: Kept) -> None:
    found = kept.checked()

    assert found.findings == ()
    assert (found.entries, found.shots, found.gaugings, found.alarms) == (7, 100, 3, 1)
    assert (found.heads, found.seals) == (1, 1)


def test_the_seal_is_what_its_description_says(kept: Kept) -> None:
    with read(kept.engine) as conn:
        digests = conn.execute(sa.select(tables.shots.c.digest).order_by(tables.shots.c.id)).scalars().all()
        sealed = seal.last(conn)
    assert sealed is not None
    assert sealed["shots"]["rows"] == 100
    assert sealed["shots"]["digest"] == sha256(b"".join(digests)).hexdigest()


def test_a_seal_is_made_once_a_day_and_its_head_is_exported_and_published(kept: Kept) -> None:
    kept.job()
    assert len(heads.read(kept.heads_file)) == 1
    kept.wall += timedelta(days=1)
    kept.job()
    written = heads.read(kept.heads_file)
    assert len(written) == 2
    with read(kept.engine) as conn:
        assert written[-1].digest == journal.head(conn)
        row = conn.execute(
            sa.select(tables.outbox).where(tables.outbox.c.topic == "evenrun/1/lowland/collector/journal")
            .order_by(tables.outbox.c.id.desc())
        ).first()  # fmt: skip
    assert row is not None
    assert row.retain
    assert json.loads(row.payload)["digest"] == written[-1].digest.hex()
    assert kept.findings() == ""


def test_a_line_that_was_not_written_before_a_crash_is_written_by_the_next_run(kept: Kept) -> None:
    kept.wall += timedelta(days=1)
    kept.job()
    whole = kept.heads_file.read_text(encoding="utf-8")
    kept.heads_file.write_text(whole.splitlines(keepends=True)[0], encoding="utf-8")
    kept.job()

    assert kept.heads_file.read_text(encoding="utf-8") == whole


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE journal SET who = 'operator 2' WHERE id = 2", "entry 2 was changed after it was written"),
        ("UPDATE journal SET why = 'nothing' WHERE id = 6", "entry 6 was changed after it was written"),
        ("DELETE FROM journal WHERE id = 3", "entry 4 does not follow the entry before it"),
        ("DELETE FROM journal WHERE id >= 4", "the journal was cut off: the head of 2026-11-24T12:00:00"),
        ("DELETE FROM journal", "the journal was cut off"),
        ("UPDATE journal SET id = 100 - id", "does not follow the entry before it"),
    ],
)
def test_a_journal_that_was_changed_reordered_or_cut_is_found(kept: Kept, statement: str, says: str) -> None:
    kept.spoil(statement)

    assert says in kept.findings()


def test_a_journal_rewritten_with_fresh_digests_does_not_fit_the_head_that_left_the_store(kept: Kept) -> None:
    """What the chain alone cannot show: everything from an entry on is computed anew."""
    with read(kept.engine) as conn:
        rows = [
            dict(row)
            for row in conn.execute(sa.select(tables.journal).order_by(tables.journal.c.id)).mappings()
        ]
    kept.spoil("DELETE FROM journal")
    rows[1]["who"] = "somebody else"
    previous = journal.BEGINNING
    with write(kept.engine) as conn:
        for row in rows:
            row["previous_digest"] = previous
            row["digest"] = previous = journal._digest(row, previous)
            conn.execute(sa.insert(tables.journal).values(**row))
    with read(kept.engine) as conn:
        assert journal.verify(conn) == []

    assert kept.findings() == (
        "the journal up to entry 4 is not the one whose head was kept at 2026-11-24T12:00:00.000Z"
    )


def test_cutting_off_what_came_after_the_last_head_cannot_be_seen(kept: Kept) -> None:
    """Said in the README: until the next head leaves the store, the newest entries have no witness."""
    kept.spoil("DELETE FROM journal WHERE id = 7")
    assert "cut off" not in kept.findings()


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        (
            "UPDATE shots SET received_at = received_at + 1 WHERE counter = 7",
            "shot 7 of P1 (row 8) was changed",
        ),
        ("UPDATE shots SET characteristics = '{\"cushion\": 6.1}' WHERE counter = 7", "shot 7 of P1"),
        ("UPDATE shots SET characteristics = '[]' WHERE counter = 7", "shot 7 of P1"),
        ("DELETE FROM shots WHERE counter = 99", "100 shots were sealed in entry 4, 99 of them are there"),
        ("UPDATE gaugings SET value = 2.5 WHERE counter = 13", "of the 2 gaugings sealed in entry 4"),
        ("UPDATE gaugings SET value = 2.5 WHERE counter = 14", "gauging 3 says value 2.5, entry 6"),
        ("DELETE FROM gaugings WHERE counter = 12", "2 gaugings were sealed in entry 4, 1 of them are there"),
        ("DELETE FROM gaugings WHERE counter = 14", "gauging 3, which entry 6 of the journal tells of"),
        ("UPDATE alarms SET cause = 'none' WHERE id = 1", "of the 1 closed alarms sealed in entry 4"),
        ("UPDATE alarms SET closed_by = 'operator 1' WHERE id = 1", "of the 1 closed alarms sealed"),
        ("UPDATE holds SET state = 'released' WHERE id = 2", "hold 2 says state 'released', entry 7"),
        ("DELETE FROM alarms WHERE id = 1", "1 closed alarms were sealed in entry 4, 0 of them are there"),
    ],
)
def test_a_row_that_was_changed_or_deleted_is_found(kept: Kept, statement: str, says: str) -> None:
    kept.spoil(statement)

    assert says in kept.findings()


@pytest.fixture
def opened(kept: Kept) -> int:
    """An alarm that nobody has closed, noted by the job."""
    with write(kept.engine) as conn:
        number: int = conn.execute(
            sa.insert(tables.alarms).values(
                press_id=kept.seeded.press_id, kind="process", state="active_unacknowledged",
                opened_at=kept.wall, changed_at=kept.wall, quiet_shots=0, characteristics=[],
                headline="Cushion 0.2 mm lower",
            ).returning(tables.alarms.c.id)
        ).scalar_one()  # fmt: skip
    assert openings.note(kept.engine, clock=kept.clock) == 2, "this one and the closed one before it"
    return number


def test_an_open_alarm_that_was_deleted_is_missed_by_its_number(kept: Kept, opened: int) -> None:
    kept.spoil(f"DELETE FROM alarms WHERE id = {opened}")
    assert kept.findings() == f"alarm {opened}, whose opening entry 8 of the journal tells of, is gone"


@pytest.mark.parametrize(
    "change", ["kind = 'data'", "press_id = NULL, site = 'upland'", "opened_at = opened_at + 1"]
)
def test_an_open_alarm_that_became_another_is_found(kept: Kept, opened: int, change: str) -> None:
    kept.spoil(f"UPDATE alarms SET {change} WHERE id = {opened}")
    assert f"alarm {opened} is not the one whose opening" in kept.findings()


def test_what_rightly_changes_of_an_open_alarm_is_no_finding(kept: Kept, opened: int) -> None:
    kept.spoil(
        "UPDATE alarms SET state = 'active_acknowledged', acknowledged_by = 'operator 1', quiet_shots = 3, "
        f"headline = 'Cushion 0.3 mm lower', run_id = NULL WHERE id = {opened}"
    )
    assert kept.findings() == ""


def test_openings_are_noted_once_and_survive_the_seal(kept: Kept, opened: int) -> None:
    assert openings.note(kept.engine, clock=kept.clock) == 0
    kept.wall += timedelta(days=1)
    kept.job()
    assert openings.note(kept.engine, clock=kept.clock) == 0
    assert kept.checked().findings == ()
    assert opened == 2


def test_a_note_of_openings_that_was_spoilt_is_a_finding_of_its_own(kept: Kept, opened: int) -> None:
    kept.spoil("UPDATE journal SET after = '{\"to\": 2, \"alarms\": 7}' WHERE action = 'alarms opened'")
    assert opened
    assert "entry 8 was changed after it was written" in kept.findings()
    assert "entry 8 of the journal notes no alarms any more" in kept.findings()


def test_a_shot_changed_together_with_its_digest_breaks_the_seal(kept: Kept) -> None:
    query = sa.select(tables.shots, tables.presses.c.site, tables.presses.c.name).join(tables.presses)
    with write(kept.engine) as conn:
        row = dict(conn.execute(query.where(tables.shots.c.counter == 50)).mappings().one())
        row["characteristics"] = {**row["characteristics"], "cushion": 6.2001}
        conn.execute(
            sa.update(tables.shots).where(tables.shots.c.counter == 50)
            .values(characteristics=row["characteristics"], digest=digest.of_row(row))
        )  # fmt: skip

    assert kept.findings() == "of the 100 shots sealed in entry 4 at least one is another now"


def test_an_amended_shot_is_no_finding_and_its_history_is_checked(kept: Kept) -> None:
    _amend(kept)
    assert kept.findings() == ""
    kept.wall += timedelta(days=1)
    kept.job()
    assert kept.findings() == ""
    kept.spoil(_history(kept))

    assert "of the 100 shots sealed in entry 4 at least one is another now" in kept.findings()


def _amend(kept: Kept) -> None:
    query = sa.select(tables.shots, tables.presses.c.site, tables.presses.c.name).join(tables.presses)
    names = ("characteristics", "originals", "setpoints", "setpoint_originals", "not_written")
    with write(kept.engine) as conn:
        row = dict(conn.execute(query.where(tables.shots.c.counter == 50)).mappings().one())
        before = {name: row[name] for name in names}
        after = {**before, "characteristics": {**row["characteristics"], "cushion": 5.9}}
        conn.execute(
            sa.insert(tables.amendments).values(
                shot_id=row["id"], at=kept.wall, before=before, after=after, source="a file"
            )
        )
        conn.execute(
            sa.update(tables.shots).where(tables.shots.c.id == row["id"])
            .values(**after, digest=digest.of_row({**row, **after}))
        )  # fmt: skip


def _history(kept: Kept) -> str:
    if kept.engine.dialect.name == "sqlite":
        return "UPDATE amendments SET before = json_set(before, '$.characteristics.cushion', 6.0)"
    return "UPDATE amendments SET before = jsonb_set(before, '{characteristics,cushion}', '6.0')"


def test_a_shot_that_is_being_written_is_waited_for(kept: Kept, make_shot: MakeShot) -> None:
    """PostgreSQL numbers rows before they are committed: a newer one may be there before an older one."""
    if kept.engine.dialect.name == "sqlite":
        pytest.skip("SQLite has one writer at a time")
    kept.wall += timedelta(days=1)
    ids = {"press_id": kept.seeded.press_id, "run_id": kept.seeded.run_id}
    with ThreadPoolExecutor() as pool:
        with write(kept.engine) as slow:
            insert(slow, [make_shot(counter=7_001, **ids)])
            with write(kept.engine) as quick:
                insert(quick, [make_shot(counter=7_002, **ids)])
            sealing = pool.submit(kept.job)
            wait([sealing], timeout=1.0)
        sealing.result()

    assert kept.findings() == ""


def test_shots_that_came_after_the_seal_are_in_the_next_one(kept: Kept, make_shot: MakeShot) -> None:
    with write(kept.engine) as conn:
        insert(conn, [make_shot(press_id=kept.seeded.press_id, run_id=kept.seeded.run_id, counter=100)])
    kept.wall += timedelta(days=1)
    kept.job()
    with read(kept.engine) as conn:
        sealed = [after["shots"] for _, after in seal.every(conn)]
    assert [each["rows"] for each in sealed] == [100, 1]
    assert kept.findings() == ""


@pytest.mark.parametrize(
    ("url", "file"),
    [
        ("sqlite:////srv/shop/evenrun.db", "/srv/shop/journal-heads.jsonl"),
        ("sqlite:///evenrun-data/demo/evenrun.db", "evenrun-data/demo/journal-heads.jsonl"),
        ("postgresql+psycopg://a:b@host/shop", "evenrun-data/shop-journal-heads.jsonl"),
    ],
)
def test_each_store_has_a_file_of_its_own(url: str, file: str) -> None:
    assert str(heads.file_of(load_settings(database_url=url))) == file


@pytest.mark.parametrize("line", ["{", "[]", '{"entry": 1}', '{"entry": 1, "digest": "xyz"}'])
def test_a_file_that_holds_no_heads_is_refused_in_a_sentence(tmp_path: Path, line: str) -> None:
    path = tmp_path / "heads"
    path.write_text(f"\n{line}\n", encoding="utf-8")
    with pytest.raises(Exception, match=r"line 2 of .* is no head of a journal"):
        heads.read(path)
