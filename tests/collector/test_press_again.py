"""Files that are imported again: what is stored word for word is found at once, and nothing else is.

The long way, one look into the store a shot, tells what is right. On both databases.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from collector.contract.shot import Shot
from collector.counts import Counts
from collector.pipeline import Read
from collector.press_again import ShotsAgain
from collector.store import database
from collector.store.tables import amendments, events, shots
from tests.collector.pipelines import pipeline, rows, told
from tests.collector.shots_in import cushions, shot

FILE = "export.csv"


def of_file(count: int, **more: Any) -> list[Shot]:
    return [
        shot(number, values={"cushion": value, "cycle_time": 60.0}, source=FILE, **more)
        for number, value in enumerate(cushions(count))
    ]


def imported(engine: sa.Engine, made: list[Shot], *, size: int = 50) -> Counts:
    counts, taker = Counts(), pipeline(engine)
    for start in range(0, len(made), size):
        reads = [Read(each, b"", f"{FILE}:{place}") for place, each in enumerate(made[start : start + size])]
        counts.add(taker.take_records(reads))
    return counts


@contextmanager
def statements_of(engine: sa.Engine) -> Iterator[list[str]]:
    said: list[str] = []

    def note(_conn: object, _cursor: object, statement: str, *_: object) -> None:
        said.append(statement)

    sa.event.listen(engine, "before_cursor_execute", note)
    yield said
    sa.event.remove(engine, "before_cursor_execute", note)


def test_a_known_file_costs_a_batch_as_many_statements_however_many_shots_it_has(engine: sa.Engine) -> None:
    made = of_file(200)
    assert imported(engine, made).stored == 200

    with statements_of(engine) as few:
        assert imported(engine, made[:20], size=20).duplicates == 20
    with statements_of(engine) as many:
        assert imported(engine, made, size=200).duplicates == 200

    assert len(many) == len(few) < 20


def test_a_first_import_is_not_looked_up(engine: sa.Engine) -> None:
    with statements_of(engine) as said:
        imported(engine, of_file(40))
    assert not [each for each in said if "shots.ended_at IN" in each]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("counted", [True, False], ids=["with a counter", "without"])
def test_the_short_way_says_what_the_long_way_says(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch, seed: int, counted: bool
) -> None:
    made = of_file(120) if counted else of_file(120, counter=None)
    again = _told_otherwise(made, np.random.default_rng(seed))
    other = sa.create_engine("sqlite://", poolclass=sa.StaticPool, json_serializer=database.to_json)
    short = _what_follows(engine, made, again)

    monkeypatch.setattr(ShotsAgain, "has", lambda _self, _shot: False)
    long = _what_follows(other, made, again)

    assert short == long
    assert short[0]["duplicates"] > 60, "most are known, or nothing is tested"
    assert short[0]["amended"] > 5


def _what_follows(engine: sa.Engine, made: list[Shot], again: list[Shot]) -> tuple[Any, ...]:
    database.upgrade(engine)
    left_out = {30, 31, 77}
    imported(engine, [each for place, each in enumerate(made) if place not in left_out])
    counts = imported(engine, again)
    return (
        {name: getattr(counts, name) for name in ("stored", "late", "past", "duplicates", "amended")},
        sorted(rows(engine, shots.c.counter, shots.c.epoch, shots.c.ended_at, shots.c.phase), key=str),
        rows(engine, amendments.c.before, amendments.c.after),
        rows(engine, events.c.kind, events.c.at, events.c.note),
        told(engine),
    )


def _told_otherwise(made: list[Shot], noise: np.random.Generator) -> list[Shot]:
    """The file again, some shots with another value, a moment later, twice, or back as they were."""
    again: list[Shot] = []
    for each in made:
        match int(noise.integers(0, 12)):
            case 0:
                again.append(_with_cushion(each, 7.5))
            case 1:
                again += [_with_cushion(each, 7.25), each]
            case 2:
                again.append(each._replace(ended_at=each.ended_at + timedelta(seconds=2)))
            case 3:
                again += [each, each]
            case _:
                again.append(each)
    return again


def _with_cushion(each: Shot, value: float) -> Shot:
    return each._replace(values={**each.values, "cushion": value})
