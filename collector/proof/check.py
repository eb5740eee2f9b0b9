"""Everything that can be held against each other: the chain, the heads, the seals, the rows.

Each finding is one line. No finding means that nothing up to the newest head was edited, deleted, inserted or
reordered in the journal, that the sealed shots, gaugings and closed alarms are those that were sealed, and
that every alarm whose opening was noted is there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from collector.people.person import SERVICE
from collector.proof import openings, rows, seal
from collector.proof.heads import Head
from collector.store import journal
from collector.store.tables import alarms, gaugings, holds, shots
from collector.store.tables import journal as entries


@dataclass(frozen=True, slots=True)
class Checked:
    """What was looked at, and what does not fit.

    Attributes
    ----------
    findings : tuple of str
        One sentence each.
    entries, shots, gaugings, alarms, heads, seals : int
        How many were looked at.
    head : bytes
        Digest of the journal's newest entry.
    """

    findings: tuple[str, ...]
    entries: int
    shots: int
    gaugings: int
    alarms: int
    heads: int
    seals: int
    head: bytes


def check(
    conn: sa.Connection, heads: Sequence[Head], *, progress: Callable[[int, int], None] | None = None
) -> Checked:
    """Hold the store against itself and against heads from outside.

    Parameters
    ----------
    conn : Connection
        A reading transaction.
    heads : sequence of Head
        What was exported or published.
    progress : callable, optional
        Called with the shots done and all there are.

    Returns
    -------
    Checked
    """
    total = {table: _count(conn, table) for table in (entries, shots, gaugings, alarms)}
    sealed = list(seal.every(conn))
    findings = [
        *(each.sentence for each in journal.verify(conn)),
        *_heads(conn, heads),
        *_shots(conn, total[shots], progress),
        *_seals(conn, sealed),
        *openings.findings(conn),
        *_acts(conn),
    ]
    return Checked(
        tuple(findings), total[entries], total[shots], total[gaugings], total[alarms], len(heads),
        len(sealed), journal.head(conn),
    )  # fmt: skip


def _heads(conn: sa.Connection, heads: Sequence[Head]) -> Iterator[str]:
    newest = conn.execute(sa.select(sa.func.max(entries.c.id))).scalar() or 0
    for head in heads:
        digest = conn.execute(sa.select(entries.c.digest).where(entries.c.id == head.entry)).scalar()
        if digest is None and head.entry > newest:
            yield (
                f"the journal was cut off: the head of {head.wall_at} is entry {head.entry}, "
                f"the newest now is entry {newest}"
            )
        elif digest is None:
            yield f"entry {head.entry}, the head of {head.wall_at}, was deleted"
        elif digest != head.digest:
            yield f"the journal up to entry {head.entry} is not the one whose head was kept at {head.wall_at}"


def _shots(conn: sa.Connection, total: int, progress: Callable[[int, int], None] | None) -> Iterator[str]:
    for done, (_, finding) in enumerate(rows.changed_shots(conn), start=1):
        if finding:
            yield finding
        if progress and done % rows.AT_ONCE == 0:
            progress(done, total)


def _seals(conn: sa.Connection, sealed: Sequence[tuple[int, Mapping[str, Any]]]) -> Iterator[str]:
    for entry, after in sealed:
        try:
            yield from _seal(conn, entry, after)
        except (KeyError, TypeError) as error:
            yield f"the seal in entry {entry} is none any more: {error} is missing or of another kind"


def _seal(conn: sa.Connection, entry: int, after: Mapping[str, Any]) -> Iterator[str]:
    made = after["shots"]
    found = seal.fold(_as_sealed(conn, made))
    yield from _compared("shots", entry, made, found)
    made = after["gaugings"]
    found = seal.fold(rows.gaugings_between(conn, made["after"], made["to"]))
    yield from _compared("gaugings", entry, made, found)
    made = after["alarms"]
    yield from _compared("closed alarms", entry, made, seal.fold(rows.alarms_of(conn, made["ids"])))


def _as_sealed(conn: sa.Connection, made: Mapping[str, Any]) -> Iterable[tuple[int, bytes]]:
    """Digests as they were then: a shot that was amended since had another."""
    amended = {
        shot_id: first
        for shot_id, first in rows.first_amendments(conn, made["amendments"]).items()
        if made["after"] < shot_id <= made["to"]
    }
    earlier = rows.before_amendments(conn, amended)
    for shot_id, digest in rows.shots_between(conn, made["after"], made["to"]):
        yield shot_id, earlier.get(shot_id, digest)


def _compared(what: str, entry: int, made: Mapping[str, Any], found: Mapping[str, Any]) -> Iterator[str]:
    if found["rows"] != made["rows"]:
        yield f"{made['rows']} {what} were sealed in entry {entry}, {found['rows']} of them are there"
    elif found["digest"] != made["digest"]:
        yield f"of the {made['rows']} {what} sealed in entry {entry} at least one is another now"


def _acts(conn: sa.Connection) -> Iterator[str]:
    """What the journal says people did, against the rows that they did it to."""
    acts = sa.select(entries.c.id, entries.c.subject, entries.c.after, entries.c.who)
    closed = acts.where(entries.c.action == "alarm close", entries.c.who != SERVICE)
    for row in conn.execute(closed.order_by(entries.c.id)).all():
        yield from _agrees(conn, row, alarms, ("closed_by", "cause"))
    yield from _holds(conn, acts)
    entered = acts.where(entries.c.action == "gauging entered").order_by(entries.c.id)
    for row in conn.execute(entered).all():
        yield from _agrees(conn, row, gaugings, ("value", "characteristic"))


def _holds(conn: sa.Connection, acts: sa.Select[Any]) -> Iterator[str]:
    """The last decision about each hold."""
    decisions = acts.where(entries.c.subject.like("hold %")).order_by(entries.c.id)
    last = {row.subject: row for row in conn.execute(decisions).all()}
    for row in last.values():
        yield from _agrees(conn, row, holds, ("state",))


def _agrees(conn: sa.Connection, act: Any, table: sa.Table, names: Sequence[str]) -> Iterator[str]:
    number = int(act.subject.rpartition(" ")[2])
    now = (
        conn.execute(sa.select(*(table.c[name] for name in names)).where(table.c.id == number))
        .mappings()
        .first()
    )
    if now is None:
        yield f"{act.subject}, which entry {act.id} of the journal tells of, is not there any more"
        return
    for name in names:
        if name in (act.after or {}) and now[name] != act.after[name]:
            said = act.after[name]
            yield f"{act.subject} says {name} {now[name]!r}, entry {act.id} of the journal {said!r}"


def _count(conn: sa.Connection, table: sa.Table) -> int:
    return int(conn.execute(sa.select(sa.func.count()).select_from(table)).scalar_one())
