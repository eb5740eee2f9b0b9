"""Files that were imported: when, as what, and which rows came of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.store.tables import gaugings, imports, shots

_c = imports.c


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


_COLUMNS = [_c[name] for name in ImportRow.__slots__]


def taken_before(conn: sa.Connection, digest: bytes) -> datetime | None:
    """When a file of the same bytes was imported, if it was and was not undone since."""
    query = sa.select(_c.imported_at).where(_c.file_digest == digest, _c.undone_at.is_(None))
    return conn.execute(query.order_by(_c.id.desc()).limit(1)).scalar_one_or_none()


def begin(conn: sa.Connection, file_name: str, digest: bytes, profile: str, *, at: datetime) -> int:
    """Note that an import begins; one of the same name that a crash cut off ends here."""
    cut_off = sa.select(_c.id).where(_c.file_name == file_name, _c.last_shot_id.is_(None))
    for import_id in conn.execute(cut_off).scalars().all():
        finish(conn, import_id, accepted=_count(conn, import_id), duplicates=0, refused=0)
    newest_shot, newest_gauging = _newest(conn, shots), _newest(conn, gaugings)
    row = {
        "file_name": file_name, "file_digest": digest, "profile": profile, "imported_at": at,
        "accepted": 0, "duplicates": 0, "refused": 0, "after_shot_id": newest_shot,
        "after_gauging_id": newest_gauging,
    }
    return int(conn.execute(sa.insert(imports).values(**row).returning(_c.id)).scalar_one())


def finish(conn: sa.Connection, import_id: int, *, accepted: int, duplicates: int, refused: int) -> None:
    """Note what came of it; an import that stored nothing leaves no trace but its refusals."""
    if not accepted:
        conn.execute(sa.delete(imports).where(_c.id == import_id))
        return
    conn.execute(
        sa.update(imports).where(_c.id == import_id).values(
            accepted=accepted, duplicates=duplicates, refused=refused, last_shot_id=_newest(conn, shots),
            last_gauging_id=_newest(conn, gaugings),
        )
    )  # fmt: skip


def _count(conn: sa.Connection, import_id: int) -> int:
    """How many rows an import stored that did not get to say so."""
    row = by_id(conn, import_id)
    assert row is not None  # it was found just now
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
