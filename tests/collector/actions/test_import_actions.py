"""An import that was wrong is taken back, or gets its run later. On both databases.

What the press must look like afterwards is told by a store that never saw the import.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from collector.actions import shelving
from collector.actions.imports import name_run, undo
from collector.clock import ServiceClock
from collector.contract.shot import Shot
from collector.errors import NotAllowed
from collector.importing import import_csv
from collector.keeping import archive
from collector.pipeline import Read
from collector.proof import seal
from collector.proof.check import check
from collector.settings import Settings
from collector.sources import profiles
from collector.store import database, gaps, imports, journal
from collector.store import presses as press_store
from collector.store.shots import broken_digests
from collector.store.tables import (
    alarm_steps,
    alarms,
    counter_gaps,
    engine_states,
    events,
    gaugings,
    holds,
    outbox,
    presses,
    runs,
    shots,
    signals,
    withdrawn_shots,
)
from collector.store.tables import journal as entries
from collector.store.withdrawn import SITE
from tests.collector.pipelines import NOW, messages, pipeline, rows, told, told_of
from tests.collector.shots_in import cushions, message, shot

CLOCK = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
WHO: dict[str, Any] = {"who": "technician 1", "why": "of another press", "clock": CLOCK}
FILE = "export.csv"


def imported(engine: sa.Engine, made: Sequence[Shot], *, digest: bytes = b"1") -> int:
    """Import as the command does, without its file."""
    with database.write(engine) as conn:
        import_id = imports.begin(conn, FILE, digest, "press.toml", at=NOW)
    counts = pipeline(engine).take_records([Read(each, b"", f"{FILE}:1") for each in made])
    with database.write(engine) as conn:
        accepted = counts.stored + counts.late + counts.past
        imports.finish(conn, import_id, accepted=accepted, duplicates=counts.duplicates, refused=0)
    return import_id


def stands_still(engine: sa.Engine, import_id: int) -> None:
    with database.write(engine) as conn:
        imports.let_go(conn, import_id)


def of_file(values: Sequence[float], *, first: int = 0, **more: Any) -> list[Shot]:
    return [
        shot(number, values={"cushion": value}, source=FILE, **more)
        for number, value in enumerate(values, start=first)
    ]


def of_press(engine: sa.Engine) -> list[tuple[object, ...]]:
    """Counter, phase, share and run of every shot of P1 itself."""
    query = (
        sa.select(shots.c.counter, shots.c.phase, shots.c.share, runs.c.name, runs.c.closed_at)
        .join(presses, presses.c.id == shots.c.press_id)
        .join(runs, runs.c.id == shots.c.run_id, isouter=True)
        .where(presses.c.site == "lowland")
        .order_by(shots.c.epoch, shots.c.counter)
    )
    with database.read(engine) as conn:
        return [tuple(row) for row in conn.execute(query)]


def test_the_press_is_as_if_the_file_had_never_been_imported(engine: sa.Engine) -> None:
    batch = messages(cushions(90))
    taker = pipeline(engine)
    taker.take(batch[:60])
    before = of_press(engine)
    import_id = imported(engine, of_file(cushions(30, seed=9, shift=5.0, shift_from=0), first=60))
    assert len(of_press(engine)) == 90

    done = undo(engine, import_id, **WHO)

    assert (done.shots, done.runs) == (30, ())
    assert of_press(engine) == before
    assert pipeline(engine).take(batch[60:]).stored == 30
    assert told(engine) == told_of(batch)


def test_a_press_whose_clock_was_set_back_goes_on_counting_after_an_undo(engine: sa.Engine) -> None:
    """An hour at shot 40: the one made last is not the one with the latest time."""
    back = [shot(number).ended_at - timedelta(hours=number >= 40) for number in range(70)]
    told_live = [
        message(number, {"cushion": 6.0 + number % 7 / 10}, ended_at=back[number].isoformat())
        for number in range(70)
    ]
    pipeline(engine).take(told_live[:60])
    import_id = imported(engine, of_file(cushions(5), first=500))

    undo(engine, import_id, **WHO)
    pipeline(engine).take(told_live[60:])

    of_p1 = sa.select(counter_gaps.c.after_counter).join(presses).where(presses.c.site == "lowland")
    with database.read(engine) as conn:
        assert conn.execute(of_p1).scalars().all() == []
    assert [row[0] for row in of_press(engine)] == [1000 + number for number in range(70)]


def test_an_undo_locks_presses_in_the_order_in_which_a_batch_locks_them(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By name, whichever came to the store first."""
    pipeline(engine).take(messages(cushions(1)))
    made = [each for press in ("P3", "P2") for each in of_file(cushions(3), press=press)]
    with database.write(engine) as conn:
        for press in ("P3", "P2"):
            press_store.find_or_add(conn, "lowland", press)
    import_id = imported(engine, made)
    locked: list[int] = []
    monkeypatch.setattr(press_store, "lock", lambda _conn, press_id: locked.append(press_id))

    undo(engine, import_id, **WHO)

    names = dict(rows(engine, presses.c.id, presses.c.name))
    assert [names[each] for each in locked] == ["P2", "P3"]


def test_the_shots_are_kept_with_what_they_were_and_every_digest_holds(engine: sa.Engine) -> None:
    import_id = imported(engine, of_file(cushions(50)))
    digests = [row[0] for row in rows(engine, shots.c.digest)]

    undo(engine, import_id, **WHO)

    assert len(rows(engine, shots.c.id)) == 50
    with database.read(engine) as conn:
        kept = conn.execute(sa.select(withdrawn_shots).order_by(withdrawn_shots.c.shot_id)).all()
        where = sa.select(presses.c.site).join(shots, shots.c.press_id == presses.c.id).distinct()
        site = conn.execute(where).scalars().all()
        assert broken_digests(conn) == []
        assert journal.verify(conn) == []
    assert [row[0] for row in rows(engine, shots.c.digest)] == digests
    assert {row.press_id for row in kept} == {1}
    assert {row.run_id for row in kept} == {1}
    assert site == [SITE]


def test_alarms_and_holds_that_rest_on_the_import_alone_are_closed(engine: sa.Engine) -> None:
    import_id = imported(engine, of_file(cushions(160, shift=5.0, shift_from=120)))
    assert rows(engine, alarms.c.closed_at) == [(None,)]

    done = undo(engine, import_id, **WHO)

    assert done.alarms == (1,)
    assert rows(engine, alarms.c.state, alarms.c.closed_by, alarms.c.cause) == [
        ("normal", "technician 1", f"import {import_id} undone: of another press")
    ]
    assert {row[0] for row in rows(engine, holds.c.state)} == {"released"}
    assert "close" in {row[0] for row in rows(engine, alarm_steps.c.event)}
    with database.read(engine) as conn:
        assert journal_actions(conn) == ["import undone", "hold released"]
    told = [row[1] for row in rows(engine, outbox.c.channel, outbox.c.payload) if row[0] == "mqtt"]
    assert json.loads(str(told[-1]))["active"] is False
    assert {row[0] for row in rows(engine, signals.c.withdrawn)} == {True}


def test_the_right_import_of_the_same_counters_finds_its_places_free(engine: sa.Engine) -> None:
    made = of_file(cushions(60))
    hour = timedelta(hours=1)
    import_id = imported(engine, [each._replace(ended_at=each.ended_at + hour) for each in made])
    undo(engine, import_id, **WHO)

    again = imported(engine, made)

    with database.read(engine) as conn:
        assert [row.accepted for row in imports.listed(conn, last=5)] == [60, 60]
        assert imports.taken_before(conn, b"1") == NOW
    found = of_press(engine)
    assert [row[0] for row in found] == list(range(1000, 1060))
    undo(engine, again, **WHO)
    assert of_press(engine) == []
    with database.read(engine) as conn:
        assert imports.taken_before(conn, b"1") is None


def test_an_import_that_was_killed_ends_with_the_next_one_and_can_be_undone(engine: sa.Engine) -> None:
    made = of_file(cushions(60))
    with database.write(engine) as conn:
        killed = imports.begin(conn, FILE, b"1", "press.toml", at=NOW)
    pipeline(engine).take_records([Read(each, b"", f"{FILE}:1") for each in made[:25]])
    stands_still(engine, killed)

    second = imported(engine, made)

    with database.read(engine) as conn:
        listed = imports.listed(conn, last=9)
    assert [(row.id, row.accepted) for row in listed] == [(killed, 25), (second, 35)]
    assert undo(engine, killed, **WHO).shots == 25
    assert undo(engine, second, **WHO).shots == 35


def test_an_emptied_run_gives_its_name_back(engine: sa.Engine) -> None:
    import_id = imported(engine, of_file(cushions(60), run="R-0420"))

    assert undo(engine, import_id, **WHO).runs == ("R-0420",)

    imported(engine, of_file(cushions(60), run="R-0420"))
    assert {row[3] for row in of_press(engine)} == {"R-0420"}


def test_a_gap_that_the_import_had_filled_is_open_again(engine: sa.Engine) -> None:
    batch = messages(cushions(60))
    pipeline(engine).take([*batch[:20], *batch[24:]])
    import_id = imported(engine, of_file(cushions(60)))
    with database.read(engine) as conn:
        assert gaps.listed(conn) == []

    assert undo(engine, import_id, **WHO).shots == 4

    with database.read(engine) as conn:
        assert [gap.missing for gap in gaps.listed(conn)] == [4]
    assert [row[1] for row in rows(engine, events.c.kind, events.c.note) if row[0] == "gap"] == [
        "4 of 4 shots never arrived"
    ]


def test_a_gap_that_the_import_showed_is_none_of_the_press_any_more(engine: sa.Engine) -> None:
    made = of_file(cushions(60))
    import_id = imported(engine, [*made[:20], *made[24:]])
    with database.read(engine) as conn:
        assert len(gaps.listed(conn)) == 1

    undo(engine, import_id, **WHO)

    with database.read(engine) as conn:
        assert gaps.listed(conn, closed=True) == []


def test_gaugings_let_go_of_the_shots(engine: sa.Engine) -> None:
    import_id = imported(engine, of_file(cushions(30)))
    with database.write(engine) as conn:
        conn.execute(sa.insert(gaugings).values(
            characteristic="dome", value=2.7, unit="mm", received_at=NOW, site="lowland", press_id=1,
            run_id=1, shot_id=3, joined_by="shot", counter=1002, source="form", identity=b"1",
        ))  # fmt: skip

    undo(engine, import_id, **WHO)

    assert rows(engine, gaugings.c.shot_id, gaugings.c.withdrawn_at) == [(None, None)]


def test_gaugings_of_an_undone_file_are_withdrawn(engine: sa.Engine, tmp_path: Path) -> None:
    imported(engine, of_file(cushions(3)))
    file = tmp_path / "gauge.csv"
    file.write_text("shot,dome\n1000,2.61\n1001,2.66\n")
    profile = tmp_path / "gauge.toml"
    profile.write_text(
        'kind = "gaugings"\npress = "P1"\nlink = "counter"\ncounter_column = "shot"\n'
        '[[characteristics]]\nkey = "dome"\ncolumn = "dome"\nunit = "mm"\n'
    )
    done = import_csv(
        engine, Settings(), file, profiles.load(str(profile)), profile_name="gauge.toml", clock=CLOCK
    )
    assert done.counts.gaugings == 2

    assert undo(engine, done.id, **WHO).gaugings == 2

    assert [row[0] for row in rows(engine, gaugings.c.withdrawn_at)] == [NOW, NOW]


def test_an_import_is_undone_once_by_somebody_for_a_reason(engine: sa.Engine) -> None:
    import_id = imported(engine, of_file(cushions(5)))
    with pytest.raises(NotAllowed, match="say who"):
        undo(engine, import_id, who=" ", why="wrong", clock=CLOCK)
    with pytest.raises(NotAllowed, match="reason"):
        undo(engine, import_id, who="technician 1", why="", clock=CLOCK)
    with pytest.raises(NotAllowed, match="there is no import 99"):
        undo(engine, 99, **WHO)

    undo(engine, import_id, **WHO)

    with pytest.raises(NotAllowed, match="was undone by technician 1 already"):
        undo(engine, import_id, **WHO)


def test_an_import_without_a_run_gets_its_run_later(engine: sa.Engine) -> None:
    """Two inferred runs, since the press stood overnight, become the one that they are."""
    day = of_file(cushions(60))
    night = timedelta(hours=9)
    next_day = [
        each._replace(ended_at=each.ended_at + night) for each in of_file(cushions(60, seed=4), first=60)
    ]
    import_id = imported(engine, [*day, *next_day])
    assert len(rows(engine, runs.c.id)) == 2

    [done] = name_run(engine, import_id, run="R-0420", **WHO)

    assert (done.shots, len(done.names)) == (120, 2)
    assert {row[3] for row in of_press(engine)} == {"R-0420"}
    with database.read(engine) as conn:
        [entry] = journal_actions(conn)
        state = conn.execute(sa.select(engine_states.c.state)).scalar_one()
    assert entry == "import run named"
    assert state["run_id"] == done.run_id
    pipeline(engine).take([message(1000, {"cushion": 6.0})])
    assert len(of_press(engine)) == 121


def journal_actions(conn: sa.Connection) -> list[str]:
    return list(conn.execute(sa.select(entries.c.action).order_by(entries.c.id)).scalars())


def test_shots_that_somebody_named_a_run_for_stay_in_it(engine: sa.Engine) -> None:
    import_id = imported(engine, of_file(cushions(10), run="R-1"))

    with pytest.raises(NotAllowed, match="nobody named"):
        name_run(engine, import_id, run="R-2", **WHO)


def test_what_was_sealed_before_is_proved_after_an_import_was_taken_back(engine: sa.Engine) -> None:
    pipeline(engine).take(messages(cushions(60)))
    import_id = imported(engine, of_file(cushions(120, shift=5.0, shift_from=80), first=60))
    seal.make(engine, clock=CLOCK, then=lambda _conn: None)

    undo(engine, import_id, **WHO)

    with database.read(engine) as conn:
        proved = check(conn, [])
    assert (proved.findings, proved.seals, proved.shots) == ((), 1, 180)


def test_an_alarm_that_goes_with_its_import_leaves_its_shelf(engine: sa.Engine) -> None:
    """Else the job that lets shelved alarms come back would stumble over it, and no other came back."""
    pipeline(engine).take(messages(cushions(60)))
    import_id = imported(engine, of_file(cushions(30, shift=8.0, shift_from=0), first=60))
    until = NOW + timedelta(hours=1)
    shelving.shelve(engine, 1, who="operator 1", clock=CLOCK, until=until, reason="looked at")

    undo(engine, import_id, **WHO)

    later = ServiceClock(wall_anchor=until, service_anchor=until, wall=lambda: until)
    assert shelving.return_due(engine, later) == []


@pytest.mark.parametrize("act", [undo, lambda *args, **more: name_run(*args, run="R-7", **more)])
def test_what_lies_in_the_archive_is_put_back_before_its_import_is_put_right(
    engine: sa.Engine, tmp_path: Path, act: Any
) -> None:
    import_id = imported(engine, of_file(cushions(30)))
    with database.write(engine) as conn:
        conn.execute(sa.update(runs).values(closed_at=NOW))
        run_id = conn.execute(sa.select(runs.c.id)).scalar_one()
    archive.archive_run(engine, run_id, tmp_path / "archive", who="service", clock=CLOCK)

    with pytest.raises(NotAllowed, match="evenrun archive --restore"):
        act(engine, import_id, **WHO)

    archive.restore_run(engine, run_id, tmp_path / "archive", who="quality 1", clock=CLOCK)
    act(engine, import_id, **WHO)
    with database.read(engine) as conn:
        assert check(conn, []).findings == ()
