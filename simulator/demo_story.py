"""The demo's story as one stream in time order: shots, events, and the gaugings that people make later."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import chain

from simulator.gauging import gauge_disc
from simulator.records import SimGauging, SimRecord, SimShot
from simulator.scenarios import live, ordinary_week, standing_after, week_end

Told = SimRecord | SimGauging

MONDAY = datetime(2026, 11, 2, tzinfo=UTC)
LIVE_START = week_end(MONDAY)
EVERY = 24  # one disc a tray is gauged as a routine
EVERY_SUSPECT = 8  # ... and more of those that were set aside
# Friday: a buyer writes that two boxes of Larch 5 from Tuesday do not match; some discs come back.
COMPLAINT_FROM, COMPLAINT_UNTIL = MONDAY + timedelta(days=1, hours=12), MONDAY + timedelta(days=1, hours=17)
COMPLAINT_EVERY = 10
COMPLAINT_AGE_H = 68.0


def moment(record: Told) -> datetime:
    """When a record happens: the end of a shot, the time of an event or of a gauging."""
    if isinstance(record, SimShot):
        return record.ended_at
    return record.gauged_at if isinstance(record, SimGauging) else record.at


def story(seed: int) -> Iterator[Told]:
    """The week and then the live floor, for ever; the same seed tells the same story."""
    week = list(ordinary_week(seed, MONDAY))
    endless = live(seed, LIVE_START, standing=standing_after(week))
    return with_gaugings(chain(week, endless), seed)


def with_gaugings(records: Iterable[SimRecord], seed: int) -> Iterator[Told]:
    """Weave what people gauge into a stream of records, in time order."""
    waiting: list[tuple[datetime, int, SimGauging]] = []
    serial = 0
    for record in records:
        while waiting and waiting[0][0] <= moment(record):
            yield heapq.heappop(waiting)[2]
        if isinstance(record, SimShot):
            for reading in _readings(record, seed):
                serial += 1
                heapq.heappush(waiting, (reading.gauged_at, serial, reading))
        yield record


def _readings(shot: SimShot, seed: int) -> Iterator[SimGauging]:
    suspect = bool(shot.truth.faults) and not shot.truth.startup
    returned = shot.press == "P2" and COMPLAINT_FROM <= shot.ended_at < COMPLAINT_UNTIL
    if returned and shot.counter % COMPLAINT_EVERY == 0:
        yield from gauge_disc(shot, seed, youngest_h=COMPLAINT_AGE_H, oldest_h=COMPLAINT_AGE_H + 2)
    elif shot.counter % EVERY == 0 or (suspect and not returned and shot.counter % EVERY_SUSPECT == 0):
        yield from gauge_disc(shot, seed)
