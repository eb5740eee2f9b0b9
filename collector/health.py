"""Whether the service works, with the reasons why not: from the store alone, so that any process can say it.

A press that is silent or in alarm is a matter of the floor, not of the service: it is told, but the service
is well all the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector.jobs import JOBS
from collector.settings import Settings
from collector.store import channels, heartbeats, outbox
from collector.store.heartbeats import Beat
from collector.store.jobs import Result, last_results
from collector.store.probe import why_not_writable
from collector.store.runs import newest_first
from collector.store.tables import presses, refusals, runs, shots

DEAD_AFTER = timedelta(seconds=15)
STUCK_AFTER = timedelta(minutes=1)  # a message to the broker or the log
PEOPLE_STUCK_AFTER = timedelta(minutes=15)  # a receiver may be away for a while
LATE_RUNS = 3  # a job that is so many intervals late is not run any more
SHORTEST_PATIENCE_S = 60.0
SAME_CLOCK = timedelta(seconds=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Collector:
    """One collector by its last sign of life.

    Attributes
    ----------
    name : str
        Its computer, and the number of its process there.
    state : str
        "alive", "stopped" when it was told to end, or "not heard" when it fell silent.
    age_s : float
        Wall seconds since it spoke.
    detail : mapping
        What it said of itself then.
    """

    name: str
    state: str
    age_s: float
    detail: Mapping[str, Any]

    @classmethod
    def of(cls, name: str, beat: Beat, wall: datetime) -> Collector:
        """What a sign of life says of a collector by now."""
        state = "stopped" if beat.stopped else "not heard" if _is_silent(beat, wall) else "alive"
        return cls(name=name, state=state, age_s=_seconds(wall - beat.wall_at), detail=beat.detail)


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """How long ago a press was heard of, in floor seconds.

    Attributes
    ----------
    age_s : float or None
        Since the end of its newest shot; None before the first.
    usual_cycle_s : float or None
    silent : bool
        A shot of it should have arrived by now, by our clock; never of a press that is known from files only.
    idle : bool
        It has no work: no run of it is open.
    lag_s : float or None
        Between the end of its newest shot and its arrival here; None where floor time is not real time, as
        in a demo.
    """

    name: str
    age_s: float | None
    usual_cycle_s: float | None
    silent: bool
    idle: bool
    lag_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """What waits on one channel of the outbox; `age_s` of the oldest message, wall seconds."""

    channel: str
    messages: int
    age_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """The service at a moment; `reasons` is empty when it is well."""

    reasons: tuple[str, ...]
    collectors: tuple[Collector, ...] = ()
    presses: tuple[Press, ...] = ()
    outbox: tuple[Waiting, ...] = ()
    channels_off: tuple[str, ...] = ()
    jobs: tuple[Result, ...] = ()
    refused_24h: int = 0

    @property
    def ok(self) -> bool:
        """Whether the service is well."""
        return not self.reasons

    def to_json(self) -> dict[str, Any]:
        """What ``/health`` answers."""
        return {
            "ok": self.ok,
            "reasons": list(self.reasons),
            "collectors": [asdict(one) for one in self.collectors],
            "presses": [asdict(one) for one in self.presses],
            "outbox": [asdict(one) for one in self.outbox],
            "channels_off": list(self.channels_off),
            "jobs": [_job_json(one) for one in self.jobs],
            "refused_24h": self.refused_24h,
        }


def read_health(conn: sa.Connection, settings: Settings, *, now: datetime, wall: datetime) -> Health:
    """Read the state of the service.

    Parameters
    ----------
    conn : Connection
    settings : Settings
    now, wall : datetime
        Floor time for the presses, wall time for everything else.
    """
    beats, beat = heartbeats.of_collectors(conn, wall=wall), heartbeats.last(conn, heartbeats.COLLECTOR)
    blocked = _blocked(conn, beat, wall)
    # While nothing can be stored, no press can be heard: none is called silent for that.
    heard_until = now if blocked is None or beat is None else beat.at
    queues = [
        Waiting(channel=one.channel, messages=one.waiting, age_s=_seconds(wall - one.oldest_at))
        for one in outbox.queues(conn)
    ]
    off, jobs = sorted(channels.disabled(conn)), last_results(conn)
    since = wall - timedelta(hours=24)
    refused = conn.execute(
        sa.select(sa.func.count()).select_from(refusals).where(refusals.c.received_at >= since)
    ).scalar_one()
    return Health(
        reasons=(
            *_collector_reasons(beat, wall, blocked=blocked),
            *_job_reasons(jobs, wall, site=settings.site, silent=_is_silent(beat, wall)),
            *_outbox_reasons(queues), *map(_off_reason, off),
        ),
        collectors=tuple(Collector.of(name, beat, wall) for name, beat in beats.items()),
        presses=tuple(_presses(conn, settings, now=now, wall=wall, heard_until=heard_until)),
        outbox=tuple(queues), channels_off=tuple(off), jobs=tuple(jobs), refused_24h=refused,
    )  # fmt: skip


def unreadable(error: Exception) -> Health:
    """What can be said when the store cannot be read."""
    return Health(reasons=(str(error),))


def _is_silent(beat: Beat | None, wall: datetime) -> bool:
    return beat is None or wall - beat.wall_at > DEAD_AFTER


def _blocked(conn: sa.Connection, beat: Beat | None, wall: datetime) -> str | None:
    """Why no collector can store a sign of life; asked only where one that was not stopped is silent."""
    if beat is None or beat.stopped or not _is_silent(beat, wall):
        return None
    return why_not_writable(conn.engine)


def _collector_reasons(beat: Beat | None, wall: datetime, *, blocked: str | None) -> list[str]:
    """What is wrong with whoever collects; nothing it said counts once it is silent."""
    if beat is None:
        return ["no collector has ever run on this store: start `evenrun collect`"]
    age_s = _seconds(wall - beat.wall_at)
    if _is_silent(beat, wall) and beat.stopped:
        return [f"the collector was stopped {age_s:.0f} s ago: start `evenrun collect`"]
    if blocked is not None:
        return [f"{blocked}; until then no sign of life can be stored, the last one is {age_s:.0f} s old"]
    if _is_silent(beat, wall):
        return [f"no collector has given a sign of life for {age_s:.0f} s: start `evenrun collect`"]
    broker, store = beat.detail.get("broker", "connected"), beat.detail.get("store_problem")
    folders = beat.detail.get("folders", [])
    return [*([] if broker == "connected" else [broker]), *([] if store is None else [store]), *folders]


def _job_reasons(results: Sequence[Result], wall: datetime, *, site: str, silent: bool) -> list[str]:
    """Jobs that fail, and those that are late though a collector lives: without one, all are."""
    every_s = {job.kept_as(site): job.every_s for job in JOBS}
    found = []
    for one in results:
        late = wall - one.started_at
        if one.failed:
            found.append(f"the job {one.name!r} fails: {one.outcome}")
        elif not silent and one.name in every_s and late > _patience(every_s[one.name]):
            found.append(
                f"the job {one.name!r} has not run for {_seconds(late):.0f} s: restart the collector"
            )
    return found


def _patience(every_s: float) -> timedelta:
    return timedelta(seconds=LATE_RUNS * every_s + 60)


def _outbox_reasons(queues: Sequence[Waiting]) -> list[str]:
    own = ("mqtt", "log")
    return [
        f"{one.messages} messages wait on {one.channel}, the oldest for {one.age_s:.0f} s"
        for one in queues
        if one.age_s > _seconds(STUCK_AFTER if one.channel in own else PEOPLE_STUCK_AFTER)
    ]


def _off_reason(channel: str) -> str:
    return f"the channel {channel} is switched off: mend it and switch it on again on the Service page"


def _presses(
    conn: sa.Connection, settings: Settings, *, now: datetime, wall: datetime, heard_until: datetime
) -> list[Press]:
    rows = conn.execute(
        sa.select(presses).where(presses.c.site == settings.site).order_by(presses.c.name)
    ).all()
    real = abs(now - wall) < SAME_CLOCK
    return [_press(conn, row, settings, now, heard_until=heard_until, real=real) for row in rows]


def _press(
    conn: sa.Connection, row: Any, settings: Settings, now: datetime, *, heard_until: datetime, real: bool
) -> Press:
    usual_s = row.usual_cycle_s
    age = None if row.last_shot_at is None else max(now - row.last_shot_at, timedelta(0))
    patience_s = max(settings.charts.stop_cycles * (usual_s or 60.0), SHORTEST_PATIENCE_S)
    quiet = row.heard_at is not None and heard_until - row.heard_at > timedelta(seconds=patience_s)
    newest = conn.execute(
        sa.select(shots.c.ended_at, shots.c.received_at)
        .where(shots.c.press_id == row.id, shots.c.ended_at == row.last_shot_at)
        .limit(1)
    ).first()
    works = _runs(conn, row.id)
    return Press(
        name=row.name, age_s=None if age is None else _seconds(age), usual_cycle_s=usual_s,
        silent=quiet and works, idle=not works,
        lag_s=None if newest is None or not real else _seconds(newest.received_at - newest.ended_at),
    )  # fmt: skip


def _runs(conn: sa.Connection, press_id: int) -> bool:
    """Whether a press has work: a run of it is not closed."""
    newest = (
        sa.select(runs.c.closed_at)
        .where(runs.c.press_id == press_id)
        .order_by(*newest_first())
        .limit(1)
    )
    row = conn.execute(newest).first()
    return row is not None and row.closed_at is None


def _job_json(one: Result) -> dict[str, Any]:
    return {
        name: value.isoformat() if isinstance(value, datetime) else value
        for name, value in asdict(one).items()
    }


def _seconds(span: timedelta) -> float:
    return round(span.total_seconds(), 3)
