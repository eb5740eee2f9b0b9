"""Rows of one press that wait for the end of a transaction, and how they are stored together."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.alarms.model import ShotVerdict, SignalFact
from collector.engine import Verdict
from collector.store import events, limits, shots, signals
from collector.store.presses import PressRow
from collector.store.shots import NewShot


class PressRows:
    """Judged shots and events of one press, not stored yet.

    Events that come between two shots wait for the next one, which is the first under the new condition.
    """

    def __init__(self, conn: sa.Connection, press: PressRow) -> None:
        self.conn = conn
        self.press = press
        self.last_shot_id: int | None = None
        self.restarted_at: int | None = None  # first shot of the newest chart restart
        self.restart_asked = False
        self._judged: list[tuple[NewShot, Verdict]] = []
        self._events: list[dict[str, Any]] = []

    def add(self, shot: NewShot, verdict: Verdict) -> None:
        """Keep a judged shot."""
        self._judged.append((shot, verdict))

    def event(self, kind: str, *, at: datetime, source: str = "service", **what: Any) -> None:
        """Keep an event until its first shot is stored."""
        self._events.append(events.row(self.press.id, kind, at=at, source=source, **what))

    def waiting(self, kind: str) -> list[Any]:
        """The new values of the waiting events of a kind, oldest first."""
        return [row["new"] for row in self._events if row["kind"] == kind]

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
        ids = shots.insert(self.conn, [row for row, _ in self._judged])
        self.last_shot_id = ids[-1]
        for row in self._events:
            row["shot_id"] = row["shot_id"] or ids[0]
            if row["kind"] == "limits":
                limits.in_force(self.conn, row["new"], from_shot_id=ids[0])
        self._store_limits(ids, context)
        verdicts = self._store_signals(ids)
        self._add_events(ids)
        self.store_events()
        self._note_restart(ids)
        self._judged.clear()
        return verdicts

    def store_events(self) -> None:
        """Store the events as they are, even those that no shot has followed yet."""
        events.insert(self.conn, self._events)
        self._events.clear()

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
                shot_id=shot_id, counter=row.counter, ended_at=row.ended_at, run_id=row.run_id,
                phase=row.phase, tray=row.tray, signals=tuple(facts.get(shot_id, ())),
            )
            for shot_id, (row, _) in zip(ids, self._judged, strict=True)
        ]

    def _add_events(self, ids: list[int]) -> None:
        for shot_id, (row, judged) in zip(ids, self._judged, strict=True):
            for each in judged.events:
                self.event(
                    each.kind, at=row.ended_at, source=row.source, shot_id=shot_id, key=each.key,
                    old=each.old, new=each.new, note=each.note,
                )

    def _note_restart(self, ids: list[int]) -> None:
        pairs = zip(ids, self._judged, strict=True)
        since = [shot_id for shot_id, (_, judged) in pairs if judged.charts_restarted]
        if self.restart_asked and not since:
            since = [ids[0]]
        self.restart_asked = False
        if since:
            self.restarted_at = since[-1]
