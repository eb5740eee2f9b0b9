"""What a reader must do with any bytes: end in time, raise nothing, and name what it refuses."""

from __future__ import annotations

import signal
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import get_args

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.contract.refusal import Reason, Refusal
from collector.errors import UserError
from collector.pipeline import Pipeline
from collector.sources import csv_file, inspection
from collector.sources.incoming import Incoming
from collector.sources.inspection import Known
from collector.store import database
from collector.store.tables import refusals
from collector.verdict import Policy
from tests.fuzz.messages import POLICY

NOW = datetime(2026, 11, 26, 12, 0, tzinfo=UTC)
REASONS = frozenset(get_args(Reason))
CASE_S = 10.0  # far above what a case takes, for a machine that has other work
LONGEST_SENTENCE = 1_000
KEPT_FAILURES = 20


class Hang(Exception):
    """A case took longer than it may."""


@dataclass
class Report:
    """What came of the cases: by reason of refusal (or "read"), and each failure in words."""

    cases: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    failed: int = 0
    failures: list[str] = field(default_factory=list)

    def fail(self, what: str, payload: bytes) -> None:
        """Note a failure with the bytes that made it."""
        self.failed += 1
        if len(self.failures) < KEPT_FAILURES:
            self.failures.append(f"{what}: {payload[:2000]!r}")


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """Raise `Hang` inside after so long, even in a loop that never ends."""

    def ring(_number: int, _frame: FrameType | None) -> None:
        raise Hang(f"not done after {seconds:g} s")

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def guarded(report: Report, payload: bytes, work: Callable[[], None], *, seconds: float = CASE_S) -> None:
    """Do something with bytes; whatever it raises is a failure."""
    try:
        with time_limit(seconds):
            work()
    except Exception as error:  # noqa: BLE001 - the very thing that is looked for
        report.fail(f"{type(error).__name__}: {error}", payload)


def unnamed(refusal: Refusal) -> str | None:
    """What is missing of a refusal's name, None when all is there."""
    if refusal.reason not in REASONS:
        return f"the reason {refusal.reason!r} is none of ours"
    if not refusal.detail.strip() or not refusal.remedy.strip():
        return "detail or remedy is empty"
    sentence = refusal.sentence()
    if len(sentence) > LONGEST_SENTENCE:
        return f"the sentence has {len(sentence)} characters"
    if not sentence.isprintable():
        return f"the sentence is not printable: {sentence!r}"
    return None


class MessageJudge:
    """Takes payloads through the whole pipeline, a store at a time, and accounts for each.

    Parameters
    ----------
    report : Report
    batch, stored : int
        Messages in a transaction; messages after which a fresh store begins.
    """

    def __init__(self, report: Report, *, batch: int = 50, stored: int = 5_000) -> None:
        self._report = report
        self._batch_size, self._most = batch, stored
        self._waiting: list[Incoming] = []
        self._acknowledged = 0
        self._new_store()

    def take(self, topic: str, payload: bytes) -> None:
        """One message; every so often a batch of them goes through."""
        self._report.cases += 1
        self._waiting.append(
            Incoming(topic, payload, "mqtt", f"fuzz:{self._report.cases}", self._acknowledge)
        )
        if len(self._waiting) >= self._batch_size:
            self.flush()

    def flush(self) -> None:
        """Take what waits, and hold what is stored against it."""
        batch, self._waiting = self._waiting, []
        payloads = b"\n".join(each.payload for each in batch)
        before = self._report.failed
        guarded(self._report, payloads, lambda: self._through(batch), seconds=CASE_S * 6)
        if self._report.failed > before or self._in_store > self._most:
            self._new_store()

    def _through(self, batch: list[Incoming]) -> None:
        self._acknowledged = 0
        counts = self._pipeline.take(batch)
        self._in_store += len(batch)
        told = counts.stored + counts.late + counts.duplicates + counts.amended + counts.refused
        told += counts.gaugings + counts.other
        if told != len(batch) or self._acknowledged != len(batch):
            self._report.fail(
                f"of {len(batch)} messages {told} are accounted for, {self._acknowledged} acknowledged",
                batch[0].payload,
            )
        self._report.outcomes["read"] += len(batch) - counts.refused
        self._look_at_refusals(batch, counts.refused)

    def _look_at_refusals(self, batch: list[Incoming], count: int) -> None:
        wanted = {each.position: each for each in batch}
        with database.read(self._engine) as conn:
            rows = conn.execute(sa.select(refusals).where(refusals.c.id > self._last_refusal)).all()
        if len(rows) != count:
            self._report.fail(f"{count} messages were refused and {len(rows)} kept", batch[0].payload)
        for row in rows:
            self._last_refusal = row.id
            self._report.outcomes[row.reason] += 1
            message = wanted[row.position.partition("#")[0]]
            kept = Refusal(
                reason=row.reason, detail=row.detail, remedy=row.remedy, raw=row.raw, source=row.source,
                position=row.position, topic=row.topic, received_at=row.received_at,
            )
            problem = unnamed(kept)
            if row.reason == "undigested":
                problem = "it reads well, and no code can digest it"
            elif row.raw != message.payload:
                problem = "its bytes were not kept as they came"
            if problem:
                self._report.fail(f"{problem} ({message.topic!r}: {row.detail})", message.payload)

    def _acknowledge(self) -> None:
        self._acknowledged += 1

    def _new_store(self) -> None:
        self._engine = sa.create_engine(
            "sqlite://", poolclass=sa.StaticPool, json_serializer=database.to_json
        )
        database.upgrade(self._engine)
        clock = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
        self._pipeline = Pipeline(
            self._engine, policy=Policy(vital=frozenset({"cushion", "injection_time"})), intake=POLICY,
            clock=clock, wall=lambda: NOW,
        )
        self._in_store = self._last_refusal = 0


class FileJudge:
    """Reads fragments of files with a profile, and has a profile proposed for some of them."""

    def __init__(self, report: Report, folder: Path, *, propose_every: int = 4) -> None:
        self._report = report
        self._path = folder / "fragment.csv"
        self._every = propose_every

    def take(self, content: bytes, profile: ShotProfile | GaugingProfile) -> None:
        """One file."""
        self._report.cases += 1
        self._path.write_bytes(content)
        guarded(self._report, content, lambda: self._read(content, profile))
        if self._report.cases % self._every == 0:
            guarded(self._report, content, lambda: self._propose(content))

    def _read(self, content: bytes, profile: ShotProfile | GaugingProfile) -> None:
        job = csv_file.Import(site="lowland", now=NOW, received_at=NOW)
        try:
            for record in csv_file.read(self._path, profile, job):
                self._look_at(record, content)
        except UserError as error:
            self._sentence(error, content)

    def _look_at(self, record: csv_file.Record, content: bytes) -> None:
        if not isinstance(record, Refusal):
            self._report.outcomes["read"] += 1
            return
        self._report.outcomes[record.reason] += 1
        problem = unnamed(record) or (None if record.raw or not content else "the row's bytes are gone")
        if problem:
            self._report.fail(f"{problem} ({record.detail})", content)

    def _propose(self, content: bytes) -> None:
        known = Known(zone="Europe/Berlin", now=NOW, press="P3", run="R-1")
        try:
            inspection.as_toml(inspection.propose(self._path, known))
        except UserError as error:
            self._sentence(error, content)
        else:
            self._report.outcomes["proposed"] += 1

    def _sentence(self, error: UserError, content: bytes) -> None:
        self._report.outcomes["file refused in one sentence"] += 1
        if len(str(error)) > LONGEST_SENTENCE or "\n" in str(error) or not str(error).isprintable():
            self._report.fail(f"the sentence cannot be printed in a line: {str(error)!r}", content)
