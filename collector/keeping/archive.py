"""The values of a closed run out of the store into a Parquet file, and back.

A shot's row stays: its identity (so that a repeated shot is still known), its verdict and its digest. What
moves is the bulk: values, setpoints, and what they were as sent. Nothing leaves the store before the file has
been read back and every digest in it was recomputed.

Shots are not partitioned by month: a shot's identity (press, epoch, counter) has to be unique over all time,
and alarms, holds and gaugings point at its row. Thirteen columns would lose their references for what this
does as well.
"""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa

from collector import replay
from collector.clock import ServiceClock, wall_now
from collector.contract.figures import counted
from collector.errors import NotAllowed, StoreError, UserError
from collector.keeping import archive_file, backup
from collector.store import database, journal
from collector.store import presses as press_store
from collector.store import shots as shot_store
from collector.store.archives import archived_runs, is_archived
from collector.store.tables import alarms, archives, holds, presses, runs, shots

SUFFIX = ".parquet"
LONGEST_WORD = 64


def due(conn: sa.Connection, *, now: datetime, values_days: float) -> list[int]:
    """Runs whose values may move, oldest first.

    A run may, when it is closed and so old, when its values are in the store, and when nothing about it waits
    for a person: no alarm that is not closed, no open hold.
    """
    before = now - timedelta(days=values_days)
    query = sa.select(runs.c.id).where(runs.c.closed_at < before).order_by(runs.c.closed_at)
    query = query.where(runs.c.id.not_in(archived_runs()), ~_waits_for_a_person())
    has_shots = sa.select(shots.c.id).where(shots.c.run_id == runs.c.id).exists()
    return list(conn.execute(query.where(has_shots)).scalars())


def _waits_for_a_person() -> sa.ColumnElement[bool]:
    """Condition on a row of `runs`: an alarm of it is not closed, or a hold is open."""
    unfinished = (
        sa.select(table.c.run_id).where(table.c.closed_at.is_(None), table.c.run_id.is_not(None))
        for table in (alarms, holds)
    )
    return sa.or_(*(runs.c.id.in_(each) for each in unfinished))


def archive_run(engine: sa.Engine, run_id: int, folder: Path, *, who: str, clock: ServiceClock) -> Path:
    """Move the values of a run into a file.

    Parameters
    ----------
    engine : Engine
        The store.
    run_id : int
        Closed, with its values in the store.
    folder : Path
        Of the archive; made if it is not there.
    who : str
        A person, or "service".
    clock : ServiceClock

    Returns
    -------
    Path
        The file.

    Raises
    ------
    NotAllowed
        The run is open, archived, without shots, waits for a person, or was changed meanwhile.
    UserError
        The file cannot be written.
    StoreError
        What was read back is not what was written, or a stored shot no longer has its digest.
    """
    with database.read(engine) as conn:
        name = _file_name(conn, run_id)
        keys = shot_store.keys(conn, run_id=run_id)
        path = folder / name
        # Of this process alone: another may be moving the same run, and the first to end has it.
        unfinished = path.with_name(f"{path.name}.{os.getpid()}{backup.UNFINISHED}")
        try:
            folder.mkdir(parents=True, exist_ok=True)
            backup.sweep(folder, f"*{SUFFIX}.*", wall_now())
            ids = archive_file.write(conn, unfinished, run_id, keys)
        except OSError as error:
            raise UserError(
                f"the archive {path} cannot be written ({error.strerror}); free space, or let "
                "retention.folder name another"
            ) from error
    try:
        kept = _check(unfinished, ids)
        digest = bytes.fromhex(backup.digest_of(unfinished))
        with database.write(engine) as conn:
            _thin(conn, run_id, kept, {"file_name": name, "file_digest": digest}, who=who, clock=clock)
            unfinished.replace(path)
            backup.settle(folder)  # the name, too, is on the disk before the store lets go of the values
    finally:
        unfinished.unlink(missing_ok=True)
    return path


def restore_run(engine: sa.Engine, run_id: int, folder: Path, *, who: str, clock: ServiceClock) -> int:
    """Put the values of a run back into the store; the file stays.

    Shots that came late meanwhile could not be judged without these values: now the run is judged with them.
    Signals that so appear open no alarm, since nobody can act on them at the press any more.

    Returns
    -------
    int
        Shots that have their values again.

    Raises
    ------
    NotAllowed
        The run is not in the archive.
    UserError
        The file is missing, or is not the one that was written.
    StoreError
        A shot in the file no longer has its digest; nothing was changed.
    """
    with database.write(engine) as conn:
        press_id = conn.execute(sa.select(runs.c.press_id).where(runs.c.id == run_id)).scalar()
        if press_id is not None:
            press_store.lock(conn, press_id)  # of two who restore it at once, the second finds it done
        kept = conn.execute(
            sa.select(archives).where(archives.c.run_id == run_id, archives.c.restored_at.is_(None))
        ).one_or_none()
        if kept is None or press_id is None:
            raise NotAllowed(f"run {run_id} is not in the archive")
        path = folder / kept.file_name
        if not path.is_file() or bytes.fromhex(backup.digest_of(path)) != kept.file_digest:
            raise UserError(f"{path} is missing or was changed since it was written; take it from a backup")
        count = sum(_put_back(conn, row) for row in archive_file.read(path))
        now = clock.now()
        conn.execute(sa.update(archives).where(archives.c.id == kept.id).values(restored_at=now))
        late = _came_since(conn, run_id, kept.last_shot_id)
        if late:
            why = f"{counted(late, 'late shot')} judged when the run's values came back"
            replay.judge_again(conn, press_id, run_id, why=why)
        journal.append(
            conn, at=now, wall_at=wall_now(), who=who, action="restore values of run",
            subject=f"run {run_id}", after={"file": kept.file_name, "shots": count},
        )  # fmt: skip
    return count


def _came_since(conn: sa.Connection, run_id: int, last_shot_id: int) -> int:
    """How many shots came to a run after its values had moved."""
    later = (shots.c.run_id == run_id, shots.c.id > last_shot_id)
    return conn.execute(sa.select(sa.func.count()).select_from(shots).where(*later)).scalar_one()


def _file_name(conn: sa.Connection, run_id: int) -> str:
    query = (
        sa.select(presses.c.site, presses.c.name.label("press"), runs.c.name, runs.c.closed_at)
        .select_from(runs.join(presses))
        .where(runs.c.id == run_id)
    )
    run = conn.execute(query).one_or_none()
    if run is None:
        raise NotAllowed(f"there is no run {run_id}")
    if run.closed_at is None:
        raise NotAllowed(f"run {run.name} is still open; its values move after it is closed")
    if is_archived(conn, run_id):
        raise NotAllowed(f"run {run.name} is in the archive already")
    if conn.execute(sa.select(runs.c.id).where(runs.c.id == run_id, _waits_for_a_person())).first():
        raise NotAllowed(f"run {run.name} has an alarm that is not closed or an open hold; see to it first")
    words = "_".join(map(_in_file_name, (run.site, run.press, run.name)))
    return f"{words}_{run_id}{SUFFIX}"  # the number tells it from others


def _in_file_name(word: str) -> str:
    """A name without signs that a file system or a shell minds, and short enough for three in a file name."""
    while len(quoted := quote(word, safe="")) > LONGEST_WORD:
        word = word[:-1]
    return quoted


def _check(path: Path, ids: list[int]) -> dict[int, bytes]:
    """The file as it will be read one day: every shot of the run, every digest right; these by shot."""
    read_back = {}
    for row in archive_file.read(path):
        if not archive_file.is_sound(row):
            raise StoreError(
                f"shot {row['id']} no longer has the digest it was stored with, so its run stays where it "
                "is; `evenrun verify` lists such shots"
            )
        read_back[row["id"]] = row["digest"]
    if not ids:
        raise NotAllowed("the run has no shots, so there is nothing to move")
    if list(read_back) != ids:
        raise StoreError(f"{path} does not hold the {len(ids)} shots that were written; check its disk")
    return read_back


def _thin(
    conn: sa.Connection, run_id: int, kept: dict[int, bytes], file: dict[str, Any], *, who: str,
    clock: ServiceClock,
) -> None:
    """Take the values out of the store, unless a shot came or was corrected since they were copied."""
    press_store.lock(conn, conn.execute(sa.select(runs.c.press_id).where(runs.c.id == run_id)).scalar_one())
    _file_name(conn, run_id)  # asks once more whether it may move
    now_there = conn.execute(sa.select(shots.c.id, shots.c.digest).where(shots.c.run_id == run_id))
    if {row.id: row.digest for row in now_there} != kept:
        raise NotAllowed(f"run {run_id} was changed while it was copied; its values stay, try again later")
    nothing: dict[str, Any] = dict.fromkeys(archive_file.MOVED)
    conn.execute(sa.update(shots).where(shots.c.run_id == run_id).values(**nothing | {"characteristics": {}}))
    now = clock.now()
    conn.execute(
        sa.insert(archives).values(
            run_id=run_id, **file, shots=len(kept), last_shot_id=max(kept), at=now, who=who,
        )
    )
    journal.append(
        conn, at=now, wall_at=wall_now(), who=who, action="move values of run to file",
        subject=f"run {run_id}", after={"file": file["file_name"], "shots": len(kept)},
    )  # fmt: skip


def _put_back(conn: sa.Connection, row: dict[str, Any]) -> int:
    if not archive_file.is_sound(row):
        raise StoreError(f"shot {row['id']} in the file lost its digest; take the file from a backup")
    values = {name: row[name] for name in archive_file.MOVED}
    same = (shots.c.id == row["id"], shots.c.digest == row["digest"])
    done = conn.execute(sa.update(shots).where(*same).values(**values))
    if done.rowcount != 1:
        raise StoreError(f"shot {row['id']} of the file is not the one in the store; nothing was put back")
    return 1
