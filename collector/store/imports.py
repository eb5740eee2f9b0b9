"""Files that were imported: when, as what, and which rows came of them.

A process that imports says in each of its transactions that it goes on, in the row of its import: so nobody
takes it for cut off, and whoever takes the import back ends it there. The row is locked before any press is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector.errors import ImportEnded, ImportRunning
from collector.store.leases import clock
from collector.store.tables import gaugings, imports, shots
from collector.store.upsert import insert_into

_c = imports.c
CUT_OFF_AFTER = timedelta(seconds=30)  # one that only stood still so long is told, and loses nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportRow:
    """One import; the fields are the columns of the table."""

    id: int
    file_name: str
    profile: str
    imported_at: datetime
    accepted: int
    duplicates: int
    refused: int
    after_shot_id: int | None
    last_shot_id: int | None
    after_gauging_id: int | None
    last_gauging_id: int | None
    undone_at: datetime | None
    undone_by: str | None
    undone_why: str | None
    alive_at: datetime | None


_COLUMNS = [_c[name] for name in ImportRow.__slots__]


def taken_before(conn: sa.Connection, digest: bytes) -> datetime | None:
    """When a file of the same bytes was imported, if it was and was not undone since."""
    query = sa.select(_c.imported_at).where(_c.file_digest == digest, _c.undone_at.is_(None))
    return conn.execute(query.order_by(_c.id.desc()).limit(1)).scalar_one_or_none()


def begin(conn: sa.Connection, file_name: str, digest: bytes, profile: str, *, at: datetime) -> int:
    """Note that an import begins; one of the same name that was cut off ends here.

    Raises
    ------
    ImportRunning
        A file of this name is being imported.
    """
    unfinished = sa.select(_c.id).where(_c.file_name == file_name, _c.last_shot_id.is_(None))
    for import_id in conn.execute(unfinished.order_by(_c.id)).scalars().all():
        row = locked(conn, import_id)
        if row is not None and is_running(conn, row):
            raise _running(file_name)
        if row is not None:
            finish(conn, row.id, accepted=_count(conn, row), duplicates=0, refused=0)
    row_values = {
        "file_name": file_name, "file_digest": digest, "profile": profile, "imported_at": at,
        "accepted": 0, "duplicates": 0, "refused": 0, "after_shot_id": _newest(conn, shots),
        "after_gauging_id": _newest(conn, gaugings), "alive_at": clock(conn),
    }  # fmt: skip
    new = insert_into(conn, imports).values(row_values).on_conflict_do_nothing().returning(_c.id)
    begun = conn.execute(new).scalar_one_or_none()
    if begun is None:  # another process began at the same moment
        raise _running(file_name)
    return int(begun)


def go_on(conn: sa.Connection, import_id: int) -> None:
    """Say, first thing in a transaction with rows of an import, that it goes on.

    Raises
    ------
    ImportEnded
        It was taken back meanwhile, or taken for cut off and begun anew.
    """
    mine = (_c.id == import_id, _c.undone_at.is_(None), _c.last_shot_id.is_(None))
    if conn.execute(sa.update(imports).where(*mine).values(alive_at=clock(conn))).rowcount == 1:
        return
    row = by_id(conn, import_id)
    if row is not None and row.undone_at is not None:
        raise ImportEnded(
            f"import {import_id} of {row.file_name} was undone by {row.undone_by} while it ran; what it had "
            "stored is set aside, and the rest of the file was not taken"
        )
    raise ImportEnded(
        f"import {import_id} stood still for so long that another import of the same file name took its "
        "place; what it had stored stays, import the file again for the rest"
    )


def let_go(conn: sa.Connection, import_id: int) -> None:
    """The process that ran an import ends before the file does."""
    conn.execute(sa.update(imports).where(_c.id == import_id).values(alive_at=None))


def is_running(conn: sa.Connection, row: ImportRow) -> bool:
    """Whether a process has said of late that it goes on with an import."""
    # One that is ahead of the clock is from before the clock was set back.
    return row.alive_at is not None and abs(clock(conn) - row.alive_at) < CUT_OFF_AFTER


def running(conn: sa.Connection) -> list[str]:
    """The names of the files that are being imported."""
    now, c = clock(conn), _c.alive_at
    alive = (_c.last_shot_id.is_(None), c > now - CUT_OFF_AFTER, c < now + CUT_OFF_AFTER)
    return list(conn.execute(sa.select(_c.file_name).where(*alive).order_by(_c.id)).scalars())


def _running(file_name: str) -> ImportRunning:
    return ImportRunning(
        f"a file named {file_name} is being imported by another process; wait until that ends (`evenrun "
        f"imports` tells), or, if it was killed, for {CUT_OFF_AFTER.seconds} s"
    )


def locked(conn: sa.Connection, import_id: int) -> ImportRow | None:
    """One import, to which no rows are added before this transaction ends."""
    conn.execute(sa.select(_c.id).where(_c.id == import_id).with_for_update())
    return by_id(conn, import_id)  # only now, as it is after the transaction that was waited for


def stop(conn: sa.Connection, row: ImportRow) -> None:
    """End an import with the rows that it has, as it is locked; the process that runs it finds that out."""
    _ended(conn, row.id, accepted=_count(conn, row), duplicates=0, refused=0)


def finish(conn: sa.Connection, import_id: int, *, accepted: int, duplicates: int, refused: int) -> None:
    """Note what came of it; an import that stored nothing leaves no trace but its refusals."""
    if not accepted:
        conn.execute(sa.delete(imports).where(_c.id == import_id))
    else:
        _ended(conn, import_id, accepted=accepted, duplicates=duplicates, refused=refused)


def _ended(conn: sa.Connection, import_id: int, **counts: int) -> None:
    last = {"last_shot_id": _newest(conn, shots), "last_gauging_id": _newest(conn, gaugings)}
    conn.execute(sa.update(imports).where(_c.id == import_id).values(**counts, **last, alive_at=None))


def _count(conn: sa.Connection, row: ImportRow) -> int:
    """How many rows an import stored that did not get to say so."""
    pairs = ((shots, of_shots(row)), (gaugings, of_gaugings(row)))
    counts = (sa.select(sa.func.count()).select_from(table).where(*own) for table, own in pairs)
    return sum(conn.execute(count).scalar_one() for count in counts)


def by_id(conn: sa.Connection, import_id: int) -> ImportRow | None:
    """One import."""
    found = conn.execute(sa.select(*_COLUMNS).where(_c.id == import_id)).mappings().one_or_none()
    return None if found is None else ImportRow(**found)


def listed(conn: sa.Connection, *, last: int) -> list[ImportRow]:
    """The newest imports, oldest first."""
    rows = conn.execute(sa.select(*_COLUMNS).order_by(_c.id.desc()).limit(last)).mappings().all()
    return [ImportRow(**row) for row in reversed(rows)]


def of_shots(row: ImportRow) -> list[sa.ColumnElement[bool]]:
    """Which shots an import stored, as a condition."""
    return _between(shots, row.file_name, row.after_shot_id, row.last_shot_id)


def of_gaugings(row: ImportRow) -> list[sa.ColumnElement[bool]]:
    """Which gaugings an import stored, as a condition."""
    return _between(gaugings, row.file_name, row.after_gauging_id, row.last_gauging_id)


def mark_undone(conn: sa.Connection, import_id: int, *, at: datetime, who: str, why: str) -> None:
    """Note that an import was taken back."""
    changes = {"undone_at": at, "undone_by": who, "undone_why": why}
    conn.execute(sa.update(imports).where(_c.id == import_id).values(**changes))


def _between(
    table: sa.Table, file_name: str, after: int | None, last: int | None
) -> list[sa.ColumnElement[bool]]:
    conditions: list[sa.ColumnElement[bool]] = [table.c.source == file_name, table.c.id > (after or 0)]
    return conditions if last is None else [*conditions, table.c.id <= last]


def _newest(conn: sa.Connection, table: sa.Table) -> int:
    return int(conn.execute(sa.select(sa.func.coalesce(sa.func.max(table.c.id), 0))).scalar_one())


def presses_of(conn: sa.Connection, row: ImportRow) -> Sequence[sa.Row[Any]]:
    """Press, run and number of the shots of an import, one row a run."""
    c = shots.c
    query = sa.select(c.press_id, c.run_id, sa.func.count().label("shots")).where(*of_shots(row))
    return conn.execute(query.group_by(c.press_id, c.run_id).order_by(c.press_id, c.run_id)).all()
