"""The values of a closed run out of the store into a Parquet file, and back.

A shot's row stays: its identity (so that a repeated shot is still known), its verdict and its digest. What
moves is the bulk: values, setpoints, and what they were as sent. Nothing leaves the store before the file has
been read back and every digest in it was recomputed.

Shots are not partitioned by month: a shot's identity (press, epoch, counter) has to be unique over all time,
and alarms, holds and gaugings point at its row. Thirteen columns would lose their references for what this
does as well.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa

from collector.clock import ServiceClock, wall_now
from collector.errors import NotAllowed, StoreError, UserError
from collector.keeping import archive_file, backup
from collector.store import database, journal
from collector.store import shots as shot_store
from collector.store.archives import archived_runs, is_archived
from collector.store.tables import alarms, archives, holds, presses, runs, shots

SUFFIX = ".parquet"


def due(conn: sa.Connection, *, now: datetime, values_days: float) -> list[int]:
    """Runs whose values may move, oldest first.

    A run may, when it is closed and so old, when its values are in the store, and when nothing about it waits
    for a person: no alarm that is not closed, no open hold.
    """
    before = now - timedelta(days=values_days)
    waiting = (
        archived_runs(),
        sa.select(alarms.c.run_id).where(alarms.c.closed_at.is_(None), alarms.c.run_id.is_not(None)),
        sa.select(holds.c.run_id).where(holds.c.closed_at.is_(None), holds.c.run_id.is_not(None)),
    )
    query = sa.select(runs.c.id).where(runs.c.closed_at < before).order_by(runs.c.closed_at)
    for each in waiting:
        query = query.where(runs.c.id.not_in(each))
    has_shots = sa.select(shots.c.id).where(shots.c.run_id == runs.c.id).exists()
    return list(conn.execute(query.where(has_shots)).scalars())


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
        The run is open, archived, without shots, or got shots meanwhile.
    UserError
        The file cannot be written.
    StoreError
        What was read back is not what was written, or a stored shot no longer has its digest.
    """
    with database.read(engine) as conn:
        name = _file_name(conn, run_id)
        keys = shot_store.keys(conn, run_id=run_id)
        path = folder / name
        unfinished = path.with_name(f"{path.name}.unfinished")
        try:
            folder.mkdir(parents=True, exist_ok=True)
            ids = archive_file.write(conn, unfinished, run_id, keys)
        except OSError as error:
            raise UserError(
                f"the archive {path} cannot be written ({error.strerror}); free space, or let "
                "retention.folder name another"
            ) from error
    try:
        _check(unfinished, ids)
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    with database.write(engine) as conn:
        _thin(conn, run_id, path, ids, who=who, clock=clock)
    return path


def restore_run(engine: sa.Engine, run_id: int, folder: Path, *, who: str, clock: ServiceClock) -> int:
    """Put the values of a run back into the store; the file stays.

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
        kept = conn.execute(
            sa.select(archives).where(archives.c.run_id == run_id, archives.c.restored_at.is_(None))
        ).one_or_none()
        if kept is None:
            raise NotAllowed(f"run {run_id} is not in the archive")
        path = folder / kept.file_name
        if not path.is_file() or bytes.fromhex(backup.digest_of(path)) != kept.file_digest:
            raise UserError(f"{path} is missing or was changed since it was written; take it from a backup")
        count = sum(_put_back(conn, row) for row in archive_file.read(path))
        now = clock.now()
        conn.execute(sa.update(archives).where(archives.c.id == kept.id).values(restored_at=now))
        journal.append(
            conn, at=now, wall_at=wall_now(), who=who, action="restore values of run",
            subject=f"run {run_id}", after={"file": kept.file_name, "shots": count},
        )  # fmt: skip
    return count


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
    # A name may hold any character; in a file name it holds none that a file system or a shell minds.
    words = (run.site, run.press, run.name)
    return f"{'_'.join(quote(word, safe='') for word in words)}_{run_id}{SUFFIX}"


def _check(path: Path, ids: list[int]) -> None:
    """The file as it will be read one day: every shot of the run, every digest right."""
    read_back = []
    for row in archive_file.read(path):
        if not archive_file.is_sound(row):
            raise StoreError(
                f"shot {row['id']} no longer has the digest it was stored with, so its run stays where it "
                "is; `evenrun verify` lists such shots"
            )
        read_back.append(row["id"])
    if not ids:
        raise NotAllowed("the run has no shots, so there is nothing to move")
    if read_back != ids:
        raise StoreError(f"{path} does not hold the {len(ids)} shots that were written; check its disk")


def _thin(
    conn: sa.Connection, run_id: int, path: Path, ids: list[int], *, who: str, clock: ServiceClock
) -> None:
    newest = conn.execute(
        sa.select(sa.func.count(), sa.func.max(shots.c.id)).where(shots.c.run_id == run_id)
    ).one()
    if tuple(newest) != (len(ids), ids[-1]):
        raise NotAllowed(f"run {run_id} got shots while it was copied; its values stay, try again later")
    nothing: dict[str, Any] = dict.fromkeys(archive_file.MOVED)
    conn.execute(sa.update(shots).where(shots.c.run_id == run_id).values(**nothing | {"characteristics": {}}))
    now = clock.now()
    conn.execute(
        sa.insert(archives).values(
            run_id=run_id, file_name=path.name, file_digest=bytes.fromhex(backup.digest_of(path)),
            shots=len(ids), last_shot_id=ids[-1], at=now, who=who,
        )
    )
    journal.append(
        conn, at=now, wall_at=wall_now(), who=who, action="move values of run to file",
        subject=f"run {run_id}", after={"file": path.name, "shots": len(ids)},
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
