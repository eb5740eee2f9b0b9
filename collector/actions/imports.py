"""Putting an import right: taking it back, or bringing its shots into the run that it should have named."""

from __future__ import annotations

import sqlalchemy as sa

from collector.actions.doer import named
from collector.alarms.announce import announce
from collector.alarms.model import PressRef
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.gathering import Gathered, gather, gatherable
from collector.store import archives, database, imports, journal, presses, runs
from collector.store.canonical import Json
from collector.store.imports import ImportRow
from collector.store.runs import RunRow
from collector.withdrawing import Withdrawn, withdraw


def undo(engine: sa.Engine, import_id: int, *, who: str, why: str, clock: ServiceClock) -> Withdrawn:
    """Take an import back: its shots leave charts and audits, and are kept.

    Limits that were approved from a study of its shots stay in force; approve others where that is wrong. One
    that is still running ends there, and says so to whoever runs it.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, there is no such import, it was undone before, or values of it are in
        the archive.
    """
    _named(who, why)
    with database.write(engine) as conn:
        row, now = _import(conn, import_id), clock.now()
        if row.last_shot_id is None:
            row = _stopped(conn, row)
        done = withdraw(conn, row, who=str(who), why=why.strip(), at=now)
        imports.mark_undone(conn, import_id, at=now, who=str(who), why=why.strip())
        after: dict[str, Json] = {
            "shots": done.shots, "gaugings": done.gaugings, "runs": list(done.runs),
            "alarms": list(done.alarms),
        }
        journal.append(
            conn, at=now, wall_at=clock.wall(), who=who, action="import undone",
            subject=f"import {import_id}", before={"file": row.file_name}, after=after, why=why.strip(),
        )
        for hold_id in done.holds:
            journal.append(
                conn, at=now, wall_at=clock.wall(), who=who, action="hold released",
                subject=f"hold {hold_id}", before={"state": "open"}, after={"state": "released"},
                why=f"import {import_id} undone: {why.strip()}",
            )
        for press_id in done.presses if done.alarms else ():
            _announce(conn, press_id, f"import {import_id} undone by {who}: {why.strip()}", clock)
    return done


def name_run(
    engine: sa.Engine, import_id: int, *, run: str, who: str, why: str, clock: ServiceClock
) -> list[Gathered]:
    """Bring the shots of an import that named no run into a run of this name.

    Returns
    -------
    list of Gathered
        One a press.

    Raises
    ------
    NotAllowed
        As for :func:`undo`; or every shot of the import is in a run that somebody named, or it is running.
    """
    _named(who, why)
    if not run.strip():
        raise NotAllowed("give the name of the run")
    with database.write(engine) as conn:
        row, now = _import(conn, import_id), clock.now()
        if imports.is_running(conn, row):
            raise NotAllowed(f"import {import_id} is running still; name its run when it has ended")
        found = gatherable(conn, row)
        if not found:
            raise NotAllowed(
                f"no shot of import {import_id} is in a run of its own that nobody named; undo the import, "
                "then import the file again with --run"
            )
        for press_id in found:
            _values_in_store(conn, runs.by_name(conn, press_id, run.strip()))
        done = [gather(conn, row, press_id, inferred, run.strip()) for press_id, inferred in found.items()]
        for press_id, each in zip(found, done, strict=True):
            journal.append(
                conn, at=now, wall_at=clock.wall(), who=who, action="import run named",
                subject=f"import {import_id}", before={"runs": list(each.names)},
                after={"press": presses.by_id(conn, press_id).name, "run": run.strip(), "shots": each.shots},
                why=why.strip(),
            )
    return done


def _announce(conn: sa.Connection, press_id: int, what: str, clock: ServiceClock) -> None:
    """What stack lights show no longer rests on shots that are gone."""
    press = presses.by_id(conn, press_id)
    line = f"{press.name}: {what}"
    ref = PressRef(id=press_id, site=press.site, name=press.name)
    announce(conn, ref, now=clock.now(), wall=clock.wall(), what=[line])


def _named(who: str, why: str) -> None:
    named(who)
    if not why.strip():
        raise NotAllowed("give the reason in a few words, such as wrong press")


def _import(conn: sa.Connection, import_id: int) -> ImportRow:
    row = imports.locked(conn, import_id)
    if row is None:
        raise NotAllowed(f"there is no import {import_id}; `evenrun imports` lists them")
    if row.undone_at is not None:
        raise NotAllowed(f"import {import_id} was undone by {row.undone_by} already")
    for each in imports.presses_of(conn, row):
        _values_in_store(conn, None if each.run_id is None else runs.by_id(conn, each.run_id))
    return row


def _stopped(conn: sa.Connection, row: ImportRow) -> ImportRow:
    """An import that has not ended ends here, so that what it stored can be told from what follows."""
    imports.stop(conn, row)
    stopped = imports.by_id(conn, row.id)
    assert stopped is not None  # it is locked
    return stopped


def _values_in_store(conn: sa.Connection, run: RunRow | None) -> None:
    """Refuse where shots would leave, or join, a run whose values are in a file of its own."""
    if run is not None and archives.is_archived(conn, run.id):
        raise NotAllowed(
            f"the values of run {run.name} are in the archive; put them back with `evenrun archive "
            f"--restore {run.name}`, then try again"
        )
