"""A file is imported while the collector runs: two pipelines feed one press. On both databases."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import sqlalchemy as sa

from collector.counts import Counts
from collector.pipeline import Pipeline
from collector.sources.incoming import Incoming
from collector.store.tables import presses, refusals, runs, shots
from tests.collector.pipelines import messages, pipeline, rows, told, told_in_one_batch
from tests.collector.shots_in import cushions


def test_each_goes_on_from_what_the_other_stored(engine: sa.Engine) -> None:
    values = cushions(150, shift=3.0, shift_from=90)
    batch, both = messages(values), (pipeline(engine), pipeline(engine))

    for number, start in enumerate(range(0, 150, 10)):
        both[number % 2].take(batch[start : start + 10])

    assert told(engine) == told_in_one_batch(values)
    assert len(rows(engine, runs.c.id)) == 1
    assert {row[0] for row in rows(engine, shots.c.epoch)} == {0}


def test_what_both_bring_is_stored_once(engine: sa.Engine) -> None:
    batch, live, importing = messages(cushions(60)), pipeline(engine), pipeline(engine)
    live.take(batch[:40])
    importing.take(batch[20:50])

    counts = live.take(batch[45:])

    assert (counts.stored, counts.duplicates) == (10, 5)
    assert len(rows(engine, shots.c.id)) == 60


def test_at_the_same_moment_nothing_is_lost_doubled_or_refused(engine: sa.Engine) -> None:
    batch = messages(cushions(200))
    chunks = [batch[start : start + 5] for start in range(0, 200, 5)]

    def feed(taker: Pipeline, mine: Sequence[list[Incoming]]) -> list[Counts]:
        return [taker.take(each) for each in mine]

    with ThreadPoolExecutor(2) as pool:
        done = list(pool.map(feed, (pipeline(engine), pipeline(engine)), (chunks[::2], chunks[1::2])))

    assert sum(each.stored + each.late for counts in done for each in counts) == 200
    assert sorted(row[0] for row in rows(engine, shots.c.counter)) == list(range(1000, 1200))
    assert rows(engine, refusals.c.id) == []
    assert len(rows(engine, presses.c.id)) == 1
