"""Named stories of the pretend shop: generators of shots and events in time order, each with its truth."""

import heapq
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta

import numpy as np

from simulator.faults import FAULTS, Episode
from simulator.floor import Post, post
from simulator.line import Line, Span, Standing, run_name
from simulator.records import SimEvent, SimGauging, SimRecord, SimShot, Truth

__all__ = [
    "QUALIFICATION_SHOTS",
    "SimEvent",
    "SimGauging",
    "SimRecord",
    "SimShot",
    "Standing",
    "Truth",
    "live",
    "live_episodes",
    "ordinary_week",
    "plain",
    "standing_after",
    "week_end",
    "week_episodes",
]

QUALIFICATION_SHOTS = 440  # about 25 of startup, then 400 and some
FIRST_RUN = 401
FIRST_STANDING = Standing(counter=48_210, tray=0)
_SHIFT_BEGINS, _LUNCH, _AFTER_LUNCH, _SHIFT_ENDS = (timedelta(hours=h) for h in (6, 12, 12.5, 22))
_HOUR = timedelta(hours=1)

# Fault, severity: what a live floor goes through, in an order drawn from the seed.
_ROTATION = (
    ("lot_change", 1.0),
    ("worn_check_ring", 1.0),
    ("blocked_coolant_cavity", 1.0),
    ("early_gate", 1.0),
    ("blocked_coolant_core", 1.0),
    ("shorter_cooling", 1.0),
)


def ordinary_week(seed: int, start: datetime) -> Iterator[SimRecord]:
    """Monday to Friday on presses P1 and P2, with a fault-free qualification run on the Sunday before.

    Parameters
    ----------
    seed : int
        The same seed and start give the same records.
    start : datetime
        Aware; midnight of a Monday, UTC.

    Yields
    ------
    SimShot or SimEvent
        In time order over both presses. Monday afternoon a new lot of blend B on P1, set aside by evening;
        Tuesday a coolant line of P2's core clogs slowly from 13:00 to 17:00; Wednesday evening somebody opens
        P1's gate early; Thursday morning P2's check ring leaks; Friday is sound.

    Raises
    ------
    ValueError
        When `start` is not midnight of a Monday in UTC.
    """
    monday = _utc(start)
    if monday.weekday() != 0 or monday.time() != datetime.min.time():
        raise ValueError(f"the week must start at midnight of a Monday in UTC, not at {start.isoformat()}")
    lines = (
        _line(post(number), seed, week_episodes(monday), FIRST_STANDING).records(_week_spans(monday, number))
        for number in (1, 2)
    )
    return _merged(lines)


def week_end(start: datetime) -> datetime:
    """When the last shift of `ordinary_week` ends; `live` can go on from there."""
    return _utc(start) + timedelta(days=4) + _SHIFT_ENDS


def week_episodes(monday: datetime) -> tuple[Episode, ...]:
    """Return the truth of the week: what went wrong, where, from when to when."""

    def at(day: int, hour: float) -> datetime:
        return monday + timedelta(days=day, hours=hour)

    return (
        Episode(fault="lot_change", press="P1", start=at(0, 14.1), end=at(0, 22), lot=post(1).other_lot),
        Episode(
            fault="blocked_coolant_core",
            press="P2",
            start=at(1, 13),
            end=at(1, 17),
            severity=0.95,
            rise_s=3600.0,
        ),
        Episode(fault="early_gate", press="P1", start=at(2, 18.2), end=at(2, 22)),
        Episode(fault="worn_check_ring", press="P2", start=at(3, 9.5), end=at(3, 12)),
    )


def live(
    seed: int,
    start: datetime,
    *,
    presses: int = 2,
    standing: Mapping[str, Standing] | None = None,
    first_run: int = 413,
    warm: bool = True,
    first_fault_after_s: float = 1200.0,
) -> Iterator[SimRecord]:
    """Go on around the clock, for ever, with a fault of two hours now and then.

    Parameters
    ----------
    seed : int
    start : datetime
        Aware; the first cycle of every press begins here.
    presses : int
        P1 to P`presses`.
    standing : mapping of str to Standing, optional
        Last counter and tray of each press, so that numbers go on.
    first_run : int
        Number of P1's new run; the other presses take the next ones.
    warm : bool
        The presses were running before, so nothing starts up; False makes startup shots first.
    first_fault_after_s : float
        When the first fault begins, on P2: a coolant line of the core clogs.

    Yields
    ------
    SimShot or SimEvent
        In time order. `live_episodes` with the same arguments tells what goes wrong.
    """
    begin, known = _utc(start), standing or {}

    def records(number: int) -> Iterator[SimRecord]:
        episodes = live_episodes(seed, begin, presses=presses, first_fault_after_s=first_fault_after_s)
        place = post(number)
        line = _line(place, seed, episodes, known.get(place.press, FIRST_STANDING))
        return line.records([Span(start=begin, run=run_name(first_run + number - 1), warm=warm)])

    return _merged(records(number) for number in range(1, presses + 1))


def live_episodes(
    seed: int, start: datetime, *, presses: int = 2, first_fault_after_s: float = 1200.0
) -> Iterator[Episode]:
    """Faults of a live floor, one after another, two hours each with one to three sound hours between."""
    rng = np.random.default_rng([seed, 0])
    begin = _utc(start) + timedelta(seconds=first_fault_after_s)
    yield _episode("blocked_coolant_core", 1.0, min(2, presses), begin)
    while True:
        for index in rng.permutation(len(_ROTATION)):
            begin += timedelta(hours=2 + round(float(rng.uniform(1, 3)), 2))
            fault, severity = _ROTATION[index]
            yield _episode(fault, severity, int(rng.integers(1, presses + 1)), begin)


def plain(
    seed: int,
    start: datetime,
    *,
    presses: int = 1,
    shots: int = 500,
    fault: str | None = None,
    fault_at_shot: int | None = None,
) -> Iterator[SimRecord]:
    """Make one run of so many shots on each press; if asked, P1 catches a fault that stays to the end.

    Parameters
    ----------
    seed : int
    start : datetime
        Aware.
    presses, shots : int
        At least 1.
    fault : str, optional
        A key of `simulator.faults.FAULTS`.
    fault_at_shot : int, optional
        About where it begins; without it after 60 % of the shots.

    Yields
    ------
    SimShot or SimEvent
    """
    begin = _utc(start)
    onset_s = 62.0 * (0.6 * shots if fault_at_shot is None else fault_at_shot)
    episodes: tuple[Episode, ...] = ()
    if fault is not None:
        lot = post(1).other_lot if fault == "lot_change" else None
        first, last = begin + timedelta(seconds=onset_s), begin + timedelta(days=100_000)
        episodes = (Episode(fault=fault, press="P1", start=first, end=last, lot=lot),)
    return _merged(
        _line(post(number), seed, episodes, Standing(counter=0, tray=0)).records(
            [Span(start=begin, run=run_name(number), shots=shots)]
        )
        for number in range(1, presses + 1)
    )


def standing_after(records: Iterable[SimRecord]) -> dict[str, Standing]:
    """Last counter and tray of every press in a story."""
    last = {record.press: record for record in records if isinstance(record, SimShot)}
    return {
        press: Standing(counter=shot.counter, tray=int(shot.tray.rsplit("-", 1)[1]))
        for press, shot in last.items()
    }


def _episode(fault: str, severity: float, number: int, begin: datetime) -> Episode:
    assert fault in FAULTS, fault
    lot = post(number).other_lot if fault == "lot_change" else None
    return Episode(
        fault=fault, press=f"P{number}", start=begin, end=begin + 2 * _HOUR, severity=severity, lot=lot
    )


def _week_spans(monday: datetime, number: int) -> Iterator[Span]:
    yield Span(
        start=monday - timedelta(days=1) + _SHIFT_BEGINS,
        run=run_name(FIRST_RUN + number - 1),
        shots=QUALIFICATION_SHOTS,
    )
    for day in range(5):
        midnight = monday + timedelta(days=day)
        run = run_name(FIRST_RUN + 2 * (day + 1) + number - 1)
        yield Span(start=midnight + _SHIFT_BEGINS, end=midnight + _LUNCH, run=run, stop_reason="lunch")
        yield Span(start=midnight + _AFTER_LUNCH, end=midnight + _SHIFT_ENDS, run=run)


def _line(place: Post, seed: int, episodes: Iterable[Episode], standing: Standing) -> Line:
    return Line(place, seed=seed, episodes=episodes, standing=standing)


def _merged(streams: Iterable[Iterator[SimRecord]]) -> Iterator[SimRecord]:
    return heapq.merge(*streams, key=_moment)


def _moment(record: SimRecord) -> datetime:
    return record.ended_at if isinstance(record, SimShot) else record.at


def _utc(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise ValueError(f"{moment.isoformat()} has no time zone; add one, such as +00:00")
    return moment.astimezone(UTC)
