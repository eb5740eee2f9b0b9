"""One transaction a batch: shots, chart states, signals, alarms, outbox; acknowledged after the commit.

Invariants: a message is acknowledged only after the transaction that holds what follows from it. A batch
that fails leaves nothing behind, in the store or in memory, and can be taken again. A message that no
code can digest is kept as a refusal, so that it stops nothing. Two pipelines may feed one press, as when a
file is imported while the collector runs: each transaction goes on from the state that is stored.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any, NamedTuple

import sqlalchemy as sa

from collector.clock import Moment, ServiceClock, wall_now
from collector.contract.bodies import Message
from collector.contract.mapping_read import Mappings
from collector.contract.messages import GaugingMessage
from collector.contract.parse import parse
from collector.contract.policy import Policy as Intake
from collector.contract.refusal import Refusal
from collector.counts import Counts
from collector.errors import StoreError
from collector.gauging.model import NewGauging, from_message
from collector.gauging.record import record
from collector.press_state import PressState, load
from collector.press_turn import take_turn
from collector.settings import Settings
from collector.sources.incoming import Incoming
from collector.store import database, limits, presses, refusals
from collector.verdict import Policy

log = logging.getLogger("evenrun.pipeline")

Record = Message | Refusal


class Read(NamedTuple):
    """A record with the bytes it came from, should nothing be able to digest it; a tuple, as `Shot` is."""

    record: Record
    raw: bytes
    position: str
    topic: str | None = None


@dataclass(frozen=True, slots=True)
class _Known:
    """A press's state as this pipeline stored it last, and the JSON that it was stored as."""

    stored: Mapping[str, Any]
    state: PressState


class Pipeline:
    """Takes batches of messages into one store.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        An upgraded store.
    policy : collector.engine.Policy
        What is charted, and how.
    intake : collector.contract.policy.Policy
        What is let in.
    clock : ServiceClock
    wall : callable
        Wall time.
    guard : callable or None
        Called with the connection at the start of every transaction; what it raises ends the transaction.
        A collector that has lost its presses to another so stores nothing more.
    """

    def __init__(
        self,
        engine: sa.Engine,
        *,
        policy: Policy,
        intake: Intake,
        clock: ServiceClock,
        wall: Callable[[], datetime] = wall_now,
        guard: Callable[[sa.Connection], None] | None = None,
    ) -> None:
        self._engine = engine
        self._guard = guard
        self._policy = policy
        self._intake = intake
        self._clock = clock
        self._wall = wall
        self._known: dict[tuple[str, str], _Known] = {}

    def take(self, batch: Sequence[Incoming]) -> Counts:
        """Read, judge, store and acknowledge a batch.

        Raises
        ------
        StoreUnavailable
            Nothing was stored or acknowledged; take the same batch again later.
        """
        now, wall = self._clock.now(), self._wall()
        counts = self.take_records(
            [
                Read(
                    parse(each, now=now, received_at=wall, policy=self._intake), each.payload, each.position,
                    each.topic,
                )
                for each in batch
            ]
        )
        for each in batch:
            each.ack()
        return counts

    def take_records(self, batch: Sequence[Read]) -> Counts:
        """Judge and store what is read already; the same guarantees as :meth:`take`."""
        if not batch:
            return Counts()
        try:
            return self._transaction(batch)
        except StoreError:
            raise
        except Exception as error:  # noqa: BLE001 - whatever it is, it must not stop the other messages
            culprit = error
        if len(batch) > 1:
            middle = len(batch) // 2
            counts = self.take_records(batch[:middle])
            counts.add(self.take_records(batch[middle:]))
            return counts
        log.error("the message at %s cannot be digested and is kept", batch[0].position, exc_info=culprit)
        return self._transaction([self._undigested(batch[0])])

    def _transaction(self, batch: Sequence[Read]) -> Counts:
        moment = Moment(self._clock.now(), self._wall(), self._clock.speed)
        counts, known = Counts(), dict(self._known)
        with database.write(self._engine) as conn:
            if self._guard is not None:
                self._guard(conn)
            for each in batch:
                if isinstance(each.record, Refusal):
                    refusals.keep(conn, each.record)
                    counts.refused += 1
            # In one order, so that two pipelines never wait for each other's presses.
            for name, messages in sorted(_by_press(batch).items()):
                done, known[name] = self._press(conn, name, messages, moment)
                counts.add(done)
            counts.add(_gaugings(conn, batch, now=moment.now))
        self._known = known
        return counts

    def _press(
        self, conn: sa.Connection, name: tuple[str, str], messages: Sequence[Message], moment: Moment
    ) -> tuple[Counts, _Known]:
        row = presses.take(conn, *name)
        state = self._state(conn, row.id, name)
        work, stored = take_turn(conn, row, state, messages, policy=self._policy, moment=moment)
        return work.counts, _Known(stored, work.state)

    def _state(self, conn: sa.Connection, press_id: int, name: tuple[str, str]) -> PressState:
        """The state after the last committed shot; from memory, unless another pipeline moved it since."""
        stored, known = presses.load_engine_state(conn, press_id), self._known.get(name)
        if known is not None and known.stored == stored:
            return known.state
        return PressState() if stored is None else load(stored, lambda each: limits.by_id(conn, each))

    def _undigested(self, each: Read) -> Read:
        refusal = Refusal(
            reason="undigested",
            detail="evenrun could not digest this message, though it reads well; its log says why",
            remedy="report it with the log, and replay it after an upgrade",
            raw=each.raw,
            source=getattr(each.record, "source", "unknown"),
            position=f"{each.position}#{sha256(each.raw).hexdigest()[:12]}",
            topic=each.topic,
            received_at=self._wall(),
        )
        return Read(refusal, each.raw, each.position, each.topic)


def _by_press(batch: Sequence[Read]) -> dict[tuple[str, str], list[Message]]:
    """Messages of each press in the order of arrival."""
    sorted_out: dict[tuple[str, str], list[Message]] = {}
    for each in batch:
        message = each.record
        if not isinstance(message, Refusal | GaugingMessage):
            sorted_out.setdefault((message.site, message.press), []).append(message)
    return sorted_out


def _gaugings(conn: sa.Connection, batch: Sequence[Read], *, now: datetime) -> Counts:
    """Store the gaugings of a batch; one that is known counts as such."""
    by_source: dict[str, list[NewGauging]] = {}
    for each in batch:
        if isinstance(each.record, GaugingMessage):
            by_source.setdefault(each.record.source, []).append(from_message(each.record))
    counts = Counts()
    for source, new in by_source.items():
        states = [outcome.state for outcome in record(conn, new, now=now, source=source)]
        known = states.count("duplicate")
        counts.add(Counts(gaugings=len(new) - known, duplicates=known, waiting=states.count("waiting")))
    return counts


def engine_policy(settings: Settings, **overrides: object) -> Policy:
    """The engine's part of the settings; a file profile may override some of it."""
    charts = settings.charts
    chosen: dict[str, object] = {
        "vital": frozenset((*charts.vital, *charts.also)),
        "startup_shots": charts.startup_shots,
        "provisional_shots": charts.provisional_shots,
        "stop_cycles": charts.stop_cycles,
        "new_run_after_stop_h": charts.new_run_after_stop_h,
        "false_alarms_per_day": charts.false_alarms_per_day,
        "minimum_shift": charts.minimum_shift,
        "setpoint_tolerance": charts.setpoint_tolerance,
    }
    return Policy(**{**chosen, **overrides})  # type: ignore[arg-type]


def intake_policy(settings: Settings) -> Intake:
    """The intake's part of the settings."""
    known = frozenset(settings.known_presses) or None
    return Intake(
        max_bytes=settings.max_payload_bytes,
        max_depth=settings.max_payload_depth,
        max_members=settings.max_payload_members,
        known_presses=known,
        mappings=Mappings(settings.mapping, settings.site),
    )
