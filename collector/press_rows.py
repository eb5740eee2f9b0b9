"""Rows of one press that wait for the end of a transaction, and how they are stored together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import repeat
from typing import Any

import sqlalchemy as sa

from collector.alarms.model import ShotVerdict, SignalFact
from collector.contract.shot import Original, Shot
from collector.identity import Identity
from collector.store import events, gaps, limits, shots, signals
from collector.store.presses import PressRow
from collector.store.shots import NewShot
from collector.verdict import Event, Verdict


class PressRows:
    """Judged shots and events of one press, not stored yet.

    An event that comes between two shots belongs to the next one, the first under the new condition. When
    that comes only in a later transaction, the event is stored without a shot and gets it then.

    Parameters
    ----------
    conn : Connection
    press : PressRow
    orphans : bool
        Whether events of this press are stored without their first shot.
    """

    def __init__(self, conn: sa.Connection, press: PressRow, *, orphans: bool) -> None:
        self.conn = conn
        self.press = press
        self.orphans = orphans
        self.last_shot_id: int | None = None
        self.restarts: list[int] = []  # first shots of the restarts of all charts since the last `store`
        self._judged: list[tuple[NewShot, Verdict]] = []
        self._events: list[tuple[int, dict[str, Any]]] = []  # with the place of its first shot in _judged
        self._gaps: list[dict[str, Any]] = []

    def add(self, new: Sequence[NewShot], verdicts: Sequence[Verdict]) -> None:
        """Keep judged shots."""
        for shot, verdict in zip(new, verdicts, strict=True):
            for each in verdict.events:
                self._add_event(shot, each)
            self._judged.append((shot, verdict))

    def _add_event(self, shot: NewShot, found: Event) -> None:
        self.event(
            found.kind, at=shot.ended_at, source=shot.source, key=found.key, old=found.old, new=found.new,
            note=found.note,
        )
        if found.kind == "gap":
            self._gaps.append(
                gaps.row(self.press.id, shot.epoch, after=found.old, before=found.new, at=shot.ended_at)
            )

    def event(self, kind: str, *, at: datetime, source: str = "service", **what: Any) -> None:
        """Keep an event; the next shot is its first."""
        row = events.row(self.press.id, kind, at=at, source=source, **what)
        self._events.append((len(self._judged), row))

    def unstored(self, kind: str) -> list[Any]:
        """The new values of the events of a kind that are not stored yet, oldest first."""
        return [row["new"] for _, row in self._events if row["kind"] == kind]

    def begun(self) -> set[str | None]:
        """Characteristics (None: all) that start anew, or under other limits, with the shot to come."""
        stored = events.without_shot(self.conn, self.press.id) if self.orphans else []
        waiting = [*stored, *((row["kind"], row["key"]) for _, row in self._events)]
        return {key for kind, key in waiting if kind in ("limits", "chart_restart")}

    def store(self, context: str) -> list[ShotVerdict]:
        """Store the shots with their limits, signals and events.

        Parameters
        ----------
        context : str
            What new provisional limits are valid for.

        Returns
        -------
        list of ShotVerdict
            What the alarms need to know, one a shot; empty when no shot was waiting.
        """
        if not self._judged:
            return []
        self.restarts = []
        names = {self.press.id: (self.press.site, self.press.name)}
        ids = shots.insert(self.conn, [row for row, _ in self._judged], names=names)
        self.last_shot_id = ids[-1]
        self._adopt_orphans(ids[0])
        self._store_limits(ids, context)
        verdicts = self._store_signals(ids)
        self._store_events(ids)
        gaps.insert(self.conn, self._gaps)
        self._gaps.clear()
        self._judged.clear()
        return verdicts

    def finish(self) -> None:
        """Store the events that no shot has followed yet."""
        self.orphans = self.orphans or bool(self._events)
        self._store_events([])

    def _adopt_orphans(self, shot_id: int) -> None:
        if self.orphans:
            for kind, key, new in events.adopt(self.conn, self.press.id, shot_id):
                self._take_effect(kind, key, new, shot_id)
            self.orphans = False

    def _store_events(self, ids: Sequence[int]) -> None:
        for place, row in self._events:
            if row["shot_id"] is None and place < len(ids):
                row["shot_id"] = ids[place]
                self._take_effect(row["kind"], row["key"], row["new"], ids[place])
        events.insert(self.conn, [row for _, row in self._events if row["shot_id"] is not None or not ids])
        self._events = [(0, row) for _, row in self._events if row["shot_id"] is None and ids]

    def _take_effect(self, kind: str, key: str | None, new: Any, shot_id: int) -> None:
        if kind == "limits":
            limits.in_force(self.conn, new, from_shot_id=shot_id)
        elif kind == "chart_restart" and key is None:
            self.restarts.append(shot_id)

    def _store_limits(self, ids: list[int], context: str) -> None:
        """Provisional limits of a run; in force from the shot that completed their baseline."""
        for shot_id, (row, judged) in zip(ids, self._judged, strict=True):
            for made in judged.new_limits:
                new = limits.insert(
                    self.conn, self.press.id, made, context=context, run_id=row.run_id,
                    from_shot_id=shot_id, at=row.ended_at, reason="first steady shots of the run",
                )
                self.event(
                    "limits", at=row.ended_at, shot_id=shot_id, key=made.key, new=new, note=made.standing
                )

    def _store_signals(self, ids: list[int]) -> list[ShotVerdict]:
        rows = [
            signals.row(self.press.id, shot_id, signal)
            for shot_id, (_, judged) in zip(ids, self._judged, strict=True)
            for signal in judged.signals
        ]
        facts: dict[int, list[SignalFact]] = {}
        for signal_id, row in zip(signals.insert(self.conn, rows), rows, strict=True):
            fact = SignalFact(signal_id=signal_id, **{name: row[name] for name in signals.FACTS})
            facts.setdefault(row["shot_id"], []).append(fact)
        return [
            ShotVerdict(
                shot_id, row.counter, row.ended_at, row.run_id, row.phase, row.tray,
                tuple(facts.get(shot_id, ())),
            )
            for shot_id, (row, _) in zip(ids, self._judged, strict=True)
        ]


def new_shots(
    press_id: int,
    run_id: int | None,
    shots: Sequence[Shot],
    identities: Sequence[Identity],
    verdicts: Sequence[Verdict],
) -> list[NewShot]:
    """The rows of shots of a run with what was judged of them, made column by column; at least one shot."""
    shot: Any = Shot._make(zip(*shots, strict=True))
    found: Any = Verdict._make(zip(*verdicts, strict=True))
    rows = map(
        NewShot, repeat(press_id), [each.epoch for each in identities], shot.counter, shot.ended_at,
        shot.received_at, found.phase, shot.source, shot.values, repeat(run_id), found.tray,
        found.tray_position, found.share, found.share_key, map(bool, found.signals), shot.time_reconstructed,
        shot.setpoints, map(_originals, shots), shot.setpoint_originals, shot.not_written,
    )
    return list(rows)


def _originals(shot: Shot) -> Mapping[str, Original]:
    """What was converted, and what has a unit of its own."""
    if not shot.units:
        return shot.originals
    own = {key: (shot.values[key], unit) for key, unit in shot.units.items() if key in shot.values}
    return {**own, **shot.originals}
