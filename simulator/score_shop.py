"""A shop with a store of its own, in memory, that does what a shop would: recipes are qualified, the
qualification run is studied and its limits approved, its alarms are closed and its discs let go.

Only what a gateway sends goes in, message by message as on the floor.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector.actions import alarms as alarm_actions
from collector.actions import holds as hold_actions
from collector.actions import limits as limit_actions
from collector.actions import recipes as recipe_actions
from collector.alarms.lives import read_measures
from collector.alarms.measures import Measures
from collector.clock import ServiceClock
from collector.pipeline import Pipeline, engine_policy, intake_policy
from collector.settings import Settings
from collector.sources.incoming import Incoming
from collector.store import alarms as alarm_store
from collector.store import database
from collector.store.tables import holds, presses, runs, shots
from collector.verdict import Policy
from simulator.messages import to_message
from simulator.records import SimEvent, SimRecord, SimShot
from simulator.score_alarms import Raised, read_alarms

WHO = "technician 1"
NO_PROVISIONAL = 1_000_000  # steady shots that no qualification run has
# By how much a setpoint may differ from the recipe before that is a signal; common practice, no source.
ALLOWED = {
    "injection_speed": 2.0,
    "injection_pressure_limit": 5.0,
    "switchover_position": 0.5,
    "hold_pressure": 2.0,
    "hold_time": 0.5,
    "cooling_time": 1.0,
    "coolant_supply_temperature": 1.0,
    "screw_start_position": 1.0,
    "screw_speed": 5.0,
    "back_pressure": 1.5,
}
ALLOWED_BARREL_K = 5.0

Standings = dict[str, dict[str, str]]
Name = tuple[str, int | None, datetime]


class Shop:
    """One store with its pipeline and its clock."""

    def __init__(self, settings: Settings, at: datetime) -> None:
        self._now = at
        self._clock = ServiceClock(wall_anchor=at, service_anchor=at, wall=lambda: self._now)
        self._engine = sa.create_engine(
            "sqlite://", poolclass=sa.StaticPool, json_serializer=database.to_json
        )
        database.upgrade(self._engine)
        self._policy = engine_policy(settings)
        self._settings = settings
        # Nobody produces under provisional limits here, so none are made; a study takes the run as it is.
        self._pipeline = self._open(engine_policy(settings, provisional_shots=NO_PROVISIONAL))
        self._true: dict[Name, int] = {}
        self._taken = 0

    def _open(self, policy: Policy) -> Pipeline:
        return Pipeline(
            self._engine, policy=policy, intake=intake_policy(self._settings), clock=self._clock,
            wall=lambda: self._now,
        )  # fmt: skip

    def store(self) -> bytes:
        """The whole store as it is."""
        return bytes(self._driver().serialize())

    def restore(self, store: bytes, *, at: datetime) -> None:
        """Go on from a store in which limits have been approved."""
        self._driver().deserialize(store)
        self._now = max(self._now, at)
        self._pipeline = self._open(self._policy)

    def _driver(self) -> Any:
        return self._engine.raw_connection().driver_connection

    def close(self) -> None:
        """Give the memory back."""
        self._engine.dispose()

    def qualify_recipes(self, records: Sequence[SimRecord], qualification: Sequence[str]) -> None:
        """Put down what every press is set to in its qualification run, and what may be changed freely."""
        setpoints = {r.run: r.setpoints for r in records if isinstance(r, SimShot) and r.run in qualification}
        done = set()
        for record in records:
            says = record.payload if isinstance(record, SimEvent) and record.kind == "run" else {}
            name = (says.get("recipe"), says.get("recipe_version"))
            if says.get("run") in setpoints and name not in done:
                done.add(name)
                recipe_actions.qualify(
                    self._engine, says["recipe"], says["recipe_version"], mold=says["mold"],
                    blend=says["blend"], setpoints=_recipe(setpoints[says["run"]]), who=WHO,
                    why="as the run was set up", clock=self._clock,
                )  # fmt: skip

    def take(self, records: Sequence[SimRecord], *, most: int) -> None:
        """Take records in as they arrive, `most` shots in one transaction."""
        for batch in _batches(records, most):
            for record in batch:
                self._now = max(self._now, _true_time(record))
            self.learn(batch)
            self._pipeline.take([self._incoming(record) for record in batch])

    def learn(self, records: Iterable[SimRecord]) -> None:
        """Remember which shot is meant by what the store will know of it."""
        for record in records:
            if isinstance(record, SimShot):
                self._true.setdefault(_name(record), record.truth.counter)

    def approve(self, qualification: Sequence[str], *, at: datetime) -> Standings:
        """Study the qualification runs and approve their limits; deal with what they left open."""
        self._now = max(self._now, at)
        self._tidy_up()
        query = sa.select(runs.c.id, presses.c.name).join(presses).where(runs.c.name.in_(qualification))
        with database.read(self._engine) as conn:
            found = conn.execute(query.order_by(runs.c.id)).all()
        standings = {}
        for run_id, press in found:
            made = limit_actions.approve_from_run(
                self._engine, run_id, policy=self._policy, who=WHO, why="qualification run", clock=self._clock
            )
            standings[press] = {each.key: each.standing for each in made}
        self._pipeline = self._open(self._policy)
        return standings

    def load(self, *, since: datetime, operators: int = 1) -> Measures:
        """The measures of production, for one person who looks after all presses."""
        days = max((self._now - since) / timedelta(days=1), 1e-6)
        with database.read(self._engine) as conn:
            return read_measures(conn, now=self._now, operators=operators, allowed={}, days=days)

    def alarms(self) -> tuple[Raised, ...]:
        """The alarms of production in the order in which they opened."""
        with database.read(self._engine) as conn:
            return read_alarms(conn, self._counters(conn))

    def _tidy_up(self) -> None:
        with database.read(self._engine) as conn:
            left = alarm_store.unclosed(conn)
            kept = conn.execute(sa.select(holds.c.id).where(holds.c.state == "open")).scalars().all()
        for hold_id in kept:
            hold_actions.release(
                self._engine, hold_id, who=WHO, clock=self._clock, reason="gauged, inside tolerance"
            )
        for alarm in left:
            alarm_actions.acknowledge(self._engine, alarm.id, who=WHO, clock=self._clock)
            alarm_actions.close(
                self._engine, alarm.id, who=WHO, clock=self._clock, cause=alarm_actions.UNKNOWN_CAUSE
            )

    def _counters(self, conn: sa.Connection) -> dict[str, dict[int, int]]:
        """True counter of every stored shot, by press and row id, in the order of the rows."""
        query = sa.select(shots.c.id, presses.c.name, shots.c.counter, shots.c.ended_at).join(presses)
        found: dict[str, dict[int, int]] = defaultdict(dict)
        for shot_id, press, counter, ended_at in conn.execute(query.order_by(shots.c.id)):
            true = self._true.get((press, counter, ended_at))
            if true is not None:
                found[press][shot_id] = true
        return found

    def _incoming(self, record: SimRecord) -> Incoming:
        message = to_message(record)
        self._taken += 1
        return Incoming(message.topic, message.payload, "mqtt", f"story:{self._taken}")


def _recipe(setpoints: Mapping[str, float]) -> dict[str, dict[str, float]]:
    return {
        key: {"setpoint": value, "allowed": ALLOWED.get(key, ALLOWED_BARREL_K)}
        for key, value in setpoints.items()
        if key in ALLOWED or key.startswith("barrel_temperature.")
    }


def _batches(records: Sequence[SimRecord], most: int) -> Iterator[list[SimRecord]]:
    batch, made = list[SimRecord](), 0
    for record in records:
        batch.append(record)
        made += isinstance(record, SimShot)
        if made == most:
            yield batch
            batch, made = [], 0
    if batch:
        yield batch


def _true_time(record: SimRecord) -> datetime:
    return record.truth.ended_at if isinstance(record, SimShot) else record.at


def _name(shot: SimShot) -> Name:
    """How the store will know the shot: times travel in whole milliseconds."""
    at = shot.ended_at
    return shot.press, shot.counter, at.replace(microsecond=at.microsecond // 1000 * 1000)
