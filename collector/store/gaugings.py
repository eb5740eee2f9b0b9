"""The one door by which gaugings come in, and joining them to the discs they are of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.gauging import age, identity
from collector.gauging.model import Join, NewGauging, Outcome
from collector.store import disc_lookup, presses
from collector.store.tables import gaugings
from collector.store.tables import presses as press_table

SHOWN_WAITING = 200  # how many waiting gaugings a batch of shots tries again, newest first
_CHUNK = 500  # values in one IN list; SQLite's limit is far higher on every build we know


@dataclass(frozen=True, slots=True)
class GaugingRow:
    """What a page or an action needs of one stored gauging."""

    id: int
    characteristic: str
    value: float
    unit: str
    gauged_at: datetime | None
    received_at: datetime
    age_h: float | None
    press: str | None
    shot_id: int | None
    joined_by: str | None
    counter: int | None
    tray: str | None
    tray_position: int | None
    disc_mark: str | None
    order_batch: str | None
    order_index: int | None
    order_offset: int | None
    gauge: str | None
    who: str | None
    withdrawn_at: datetime | None


_ROW = [
    press_table.c.name.label("press") if name == "press" else gaugings.c[name]
    for name in GaugingRow.__dataclass_fields__
]


def record(conn: sa.Connection, new: Sequence[NewGauging], *, now: datetime, source: str) -> list[Outcome]:
    """Store gaugings, each joined to its disc where that has arrived; the same one again changes nothing.

    Parameters
    ----------
    conn : Connection
        A writing one.
    new : sequence of NewGauging
    now : datetime
        Service time of their arrival.
    source : str
        Where they came from: a topic, a file, "form".

    Returns
    -------
    list of Outcome
        One for each, in order.
    """
    identities = [identity.digest(gauging) for gauging in new]
    known = _stored(conn, identities)
    offsets = _offsets(conn, {gauging.order_batch for gauging in new if gauging.order_batch})
    outcomes: list[Outcome] = []
    for gauging, key in zip(new, identities, strict=True):
        if key not in known:
            outcomes.append(_store(conn, gauging, key, offsets, now=now, source=source))
            known[key] = outcomes[-1].gauging_id
        else:
            outcomes.append(_duplicate(conn, known[key]))
    return outcomes


def join_waiting(conn: sa.Connection, press_id: int) -> list[Outcome]:
    """Try again to join gaugings that came before their shot; to be called after new shots of a press.

    Returns
    -------
    list of Outcome
        Of those that are joined now.
    """
    waiting = (
        sa.or_(gaugings.c.press_id == press_id, gaugings.c.press_id.is_(None)),
        gaugings.c.joined_by.is_(None),
        gaugings.c.withdrawn_at.is_(None),
        sa.or_(*(gaugings.c[name].is_not(None) for name in ("counter", "tray", "order_index"))),
    )
    query = _with_press().where(*waiting).order_by(gaugings.c.id.desc()).limit(SHOWN_WAITING)
    outcomes = [_join_again(conn, row) for row in conn.execute(query).mappings().all()]
    return [outcome for outcome in outcomes if outcome.state != "waiting"]


def shift_order(conn: sa.Connection, batch: str, offset: int) -> list[Outcome]:
    """Join a list of gaugings anew, `offset` shots later in the run than it was written.

    Returns
    -------
    list of Outcome
        One for each gauging of the list that was not withdrawn.
    """
    in_batch = (gaugings.c.order_batch == batch, gaugings.c.withdrawn_at.is_(None))
    conn.execute(sa.update(gaugings).where(gaugings.c.order_batch == batch).values(order_offset=offset))
    query = _with_press().where(*in_batch).order_by(gaugings.c.order_index)
    return [_join_again(conn, row) for row in conn.execute(query).mappings().all()]


def offset_of(conn: sa.Connection, batch: str) -> int | None:
    """Offset in force for a list; None when there is no such list."""
    return _offsets(conn, {batch}).get(batch)


def withdraw(conn: sa.Connection, gauging_id: int, *, at: datetime) -> bool:
    """Mark a gauging as withdrawn, keeping it; False when it is unknown or was withdrawn before."""
    statement = (
        sa.update(gaugings)
        .where(gaugings.c.id == gauging_id, gaugings.c.withdrawn_at.is_(None))
        .values(withdrawn_at=at)
    )
    return conn.execute(statement).rowcount == 1


def get(conn: sa.Connection, gauging_id: int) -> GaugingRow | None:
    """One gauging, None when there is none of that number."""
    query = _rows().where(gaugings.c.id == gauging_id)
    return next((GaugingRow(**row) for row in conn.execute(query).mappings()), None)


def latest(
    conn: sa.Connection, *, characteristic: str | None = None, source: str | None = None, limit: int = 8
) -> list[GaugingRow]:
    """The gaugings that came last, newest first, withdrawn ones too."""
    query = _rows().order_by(gaugings.c.id.desc()).limit(limit)
    if characteristic is not None:
        query = query.where(gaugings.c.characteristic == characteristic)
    if source is not None:
        query = query.where(gaugings.c.source == source)
    return [GaugingRow(**row) for row in conn.execute(query).mappings()]


def _rows() -> sa.Select[Any]:
    return sa.select(*_ROW).select_from(gaugings.outerjoin(press_table))


def _with_press() -> sa.Select[Any]:
    joined = gaugings.outerjoin(press_table)
    return sa.select(gaugings, press_table.c.name.label("press")).select_from(joined)


def _stored(conn: sa.Connection, identities: Sequence[bytes]) -> dict[bytes, int]:
    found: dict[bytes, int] = {}
    for start in range(0, len(identities), _CHUNK):
        wanted = gaugings.c.identity.in_(identities[start : start + _CHUNK])
        for row in conn.execute(sa.select(gaugings.c.identity, gaugings.c.id).where(wanted)):
            found[row.identity] = row.id
    return found


def _offsets(conn: sa.Connection, batches: set[str]) -> dict[str, int]:
    query = (
        sa.select(gaugings.c.order_batch, sa.func.max(gaugings.c.order_offset).label("shift"))
        .where(gaugings.c.order_batch.in_(sorted(batches)))
        .group_by(gaugings.c.order_batch)
    )
    return {row.order_batch: row.shift or 0 for row in conn.execute(query)}


def _store(
    conn: sa.Connection,
    gauging: NewGauging,
    key: bytes,
    offsets: dict[str, int],
    *,
    now: datetime,
    source: str,
) -> Outcome:
    press_id = None
    if gauging.press is not None:
        press_id = presses.find_or_add(conn, gauging.site, gauging.press).id
    offset = offsets.get(gauging.order_batch, 0) if gauging.order_batch else None
    join = disc_lookup.find(conn, gauging, offset=offset or 0)
    row = _named(gauging) | {
        "press_id": press_id, "order_offset": offset, "received_at": now, "source": source, "identity": key,
    }  # fmt: skip
    row |= _joined(join, gauging.gauged_at)
    stored = conn.execute(sa.insert(gaugings).values(**row).returning(gaugings.c.id)).scalar_one()
    return _outcome(stored, gauging.characteristic, join, row["age_h"])


def _named(gauging: NewGauging) -> dict[str, Any]:
    """The columns that say what was read, and of which disc."""
    same = (
        "site", "characteristic", "value", "unit", "original_value", "original_unit", "gauged_at", "counter",
        "tray", "disc_mark", "order_batch", "order_index", "gauge", "temperature_degc", "definition", "who",
    )  # fmt: skip
    named = {name: getattr(gauging, name) for name in same}
    return named | {"run_name": gauging.run, "tray_position": gauging.position}


def _joined(join: Join, gauged_at: datetime | None) -> dict[str, Any]:
    """The columns that say where a gauging belongs; what was named stays, what was not is filled in."""
    columns: dict[str, Any] = {"joined_by": join.by, "age_h": age.age_h(gauged_at, join.disc)}
    if join.disc is not None:
        return columns | {
            "shot_id": join.disc.shot_id, "press_id": join.disc.press_id, "run_id": join.disc.run_id,
        }  # fmt: skip
    columns["shot_id"] = None
    if join.by is not None:
        columns |= {"press_id": join.press_id, "run_id": join.run_id}
    return columns


def _join_again(conn: sa.Connection, row: sa.RowMapping) -> Outcome:
    gauging = _renamed(row)
    join = disc_lookup.find(conn, gauging, offset=row["order_offset"] or 0)
    columns = _joined(join, gauging.gauged_at)
    conn.execute(sa.update(gaugings).where(gaugings.c.id == row["id"]).values(**columns))
    return _outcome(row["id"], gauging.characteristic, join, columns["age_h"])


def _renamed(row: sa.RowMapping) -> NewGauging:
    """A stored gauging as it was handed over."""
    names = set(NewGauging.__dataclass_fields__) - {"shot_id", "run", "position", "press"}
    return NewGauging(
        **{name: row[name] for name in names},
        press=row["press"], run=row["run_name"], position=row["tray_position"],
    )  # fmt: skip


def _outcome(gauging_id: int, characteristic: str, join: Join, age_h: float | None) -> Outcome:
    return Outcome(
        gauging_id=gauging_id, state=join.state, shot_id=join.disc.shot_id if join.disc else None,
        age_h=age_h, standing=age.standing(characteristic, age_h), reason=join.reason,
    )  # fmt: skip


def _duplicate(conn: sa.Connection, gauging_id: int) -> Outcome:
    row = get(conn, gauging_id)
    assert row is not None  # its identity was found in this transaction
    return Outcome(
        gauging_id=row.id, state="duplicate", shot_id=row.shot_id, age_h=row.age_h,
        standing=age.standing(row.characteristic, row.age_h), reason="this gauging was stored before",
    )  # fmt: skip
