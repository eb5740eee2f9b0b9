"""Files of the past beside a press that runs. On both databases.

What is right is told by a store that took the same shots alone and in order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from collector.contract.messages import RunMessage
from collector.contract.shot import Shot
from collector.counts import Counts
from collector.pipeline import Read
from collector.store import database, gaps
from collector.store.tables import alarms, events, past_runs, presses, runs, shots, signals
from tests.collector.pipelines import messages, pipeline, rows, told_of, topic_message
from tests.collector.shots_in import START, cushions, message, shot

FILE = "export.csv"
BEFORE = timedelta(days=-3)


def of_file(
    values: Sequence[float], *, first: int = 0, counter: int | None = None, **more: Any
) -> list[Shot]:
    """Shots of a file, three days before those of the press unless a `shift` is given."""
    shift = more.pop("shift", BEFORE)
    made = []
    for number, value in enumerate(values, start=first):
        ended_at = START + shift + timedelta(minutes=number)
        count = 1000 + number if counter is None else counter + number
        made.append(
            shot(number, values={"cushion": value}, ended_at=ended_at, counter=count, source=FILE, **more)
        )
    return made


def run_told(action: str, at: datetime, run: str = "R-0300", **more: Any) -> RunMessage:
    fields: dict[str, Any] = dict.fromkeys(("blend", "lot", "color", "recipe", "recipe_version"))
    return RunMessage(
        site="lowland", press="P1", at=at, run=run, action=action, received_at=START, source=FILE,  # type: ignore[arg-type]
        **{**fields, "mold": "Larch 5", **more},
    )


def imported(engine: sa.Engine, records: Sequence[Shot | RunMessage], *, size: int = 40) -> Counts:
    counts, taker = Counts(), pipeline(engine)
    reads = [Read(each, b"", f"{FILE}:{place}") for place, each in enumerate(records)]
    for start in range(0, len(reads), size):
        counts.add(taker.take_records(reads[start : start + size]))
    return counts


def a_file(made: list[Shot], run: str = "R-0300") -> list[Shot | RunMessage]:
    named = [each._replace(run=run) for each in made]
    return [
        run_told("open", made[0].ended_at, run), *named, run_told("close", made[-1].ended_at, run),
    ]


def running_press(engine: sa.Engine) -> None:
    opened = topic_message("run", action="open", at=START.isoformat(), run="R-1", mold="Alder 9")
    pipeline(engine).take([opened, *messages(cushions(60))])


def test_a_file_of_the_past_leaves_the_running_press_alone(engine: sa.Engine) -> None:
    running_press(engine)
    counts = imported(engine, a_file(of_file(cushions(120, seed=7))))
    pipeline(engine).take([message(60, {"cushion": 6.0}), message(61, {"cushion": 6.1})])

    assert (counts.past, counts.late, counts.stored) == (120, 0, 0)
    found = rows(engine, runs.c.name, runs.c.opened_by, runs.c.mold, runs.c.opened_at, runs.c.closed_at)
    assert found[0][0] == "R-1"
    assert found[0][4] is None, "the running run stays open"
    assert found[1] == (
        "R-0300", "file", "Larch 5", START + BEFORE, START + BEFORE + timedelta(minutes=119)
    )
    newest = rows(engine, shots.c.counter, shots.c.run_id, shots.c.epoch)[-1]
    assert newest == (1061, 1, 0)
    assert rows(engine, presses.c.last_shot_at) == [(START + timedelta(minutes=61),)]


def test_it_is_charted_by_itself_and_in_its_own_order(engine: sa.Engine) -> None:
    running_press(engine)
    values = cushions(200, seed=7, shift=3.0, shift_from=140)
    imported(engine, a_file(of_file(values)))

    alone = told_of([message(n, {"cushion": value}) for n, value in enumerate(values)])
    assert alone, "the comparison must cover a signal"
    assert of_run(engine, "R-0300") == alone
    phases = {row[0] for row in rows(engine, shots.c.phase)}
    assert phases == {"startup", "baseline", "charted"}


def of_run(engine: sa.Engine, name: str) -> list[tuple[object, ...]]:
    c = signals.c
    query = (
        sa.select(shots.c.counter, c.key, c.chart, c.rule, c.direction)
        .join(shots, shots.c.id == c.shot_id)
        .join(runs, runs.c.id == shots.c.run_id)
        .where(c.withdrawn.is_(False), runs.c.name == name)
        .order_by(shots.c.counter, c.key, c.chart, c.rule)
    )
    with database.read(engine) as conn:
        return [tuple(row) for row in conn.execute(query)]


def test_what_it_signals_opens_no_alarm(engine: sa.Engine) -> None:
    running_press(engine)
    imported(engine, a_file(of_file(cushions(200, seed=7, shift=4.0, shift_from=140))))

    assert of_run(engine, "R-0300")
    assert rows(engine, alarms.c.id) == []


def test_a_crash_in_the_middle_and_a_second_import_repeat_nothing(engine: sa.Engine) -> None:
    running_press(engine)
    values = cushions(200, seed=7, shift=3.0, shift_from=140)
    whole = a_file(of_file(values))
    imported(engine, whole[:120])  # killed here
    assert in_hand(engine) == [FILE]

    again = imported(engine, whole)
    third = imported(engine, whole)

    assert (again.past, again.duplicates, third.past, third.duplicates) == (81, 119, 0, 200)
    assert of_run(engine, "R-0300") == told_of([message(n, {"cushion": x}) for n, x in enumerate(values)])
    assert [row[0] for row in rows(engine, runs.c.name)] == ["R-1", "R-0300"]
    assert in_hand(engine) == []


def in_hand(engine: sa.Engine) -> list[str]:
    with database.read(engine) as conn:
        return list(conn.execute(sa.select(past_runs.c.source)).scalars())


def test_a_counter_that_restarts_inside_the_file_is_followed(engine: sa.Engine) -> None:
    running_press(engine)
    made = [*of_file(cushions(50, seed=7)), *of_file(cushions(50, seed=8), first=50, counter=-49)]
    imported(engine, a_file(made))

    epochs = [int(str(row[0])) for row in rows(engine, shots.c.epoch)[60:]]
    assert len(set(epochs)) == 2
    assert epochs == sorted(epochs)
    assert max(epochs) < 0


def test_rows_out_of_order_are_judged_in_order(engine: sa.Engine) -> None:
    running_press(engine)
    values = cushions(160, seed=7, shift=3.0, shift_from=120)
    made = of_file(values)
    moved = [*made[:100], *made[101:140], made[100], *made[140:]]
    imported(engine, a_file(moved), size=45)

    assert of_run(engine, "R-0300") == told_of([message(n, {"cushion": x}) for n, x in enumerate(values)])


def test_a_file_that_fills_a_gap_of_the_running_press_fills_it_there(engine: sa.Engine) -> None:
    batch = messages(cushions(60))
    pipeline(engine).take([*batch[:30], *batch[36:]])
    with database.read(engine) as conn:
        [gap] = gaps.listed(conn)
    assert (gap.after_counter, gap.before_counter, gap.missing) == (1029, 1036, 6)
    made = of_file(cushions(60), shift=timedelta())

    counts = imported(engine, a_file(made, "R-9"))

    assert (counts.duplicates, counts.late, counts.past) == (54, 6, 0)
    assert [row[0] for row in rows(engine, runs.c.opened_by)] == ["inferred"]
    with database.read(engine) as conn:
        assert gaps.listed(conn) == []
        [closed] = gaps.listed(conn, closed=True)
    assert (closed.missing, closed.closed_by) == (0, None)
    assert [row[1] for row in rows(engine, events.c.kind, events.c.note) if row[0] == "late"] == [
        "6 shots came late"
    ]


def test_a_file_that_names_no_run_gets_a_run_of_the_past_of_its_own(engine: sa.Engine) -> None:
    running_press(engine)
    counts = imported(engine, of_file(cushions(30, seed=7)))

    assert counts.past == 30
    found = rows(engine, runs.c.name, runs.c.opened_by, runs.c.closed_at)
    assert found[0][2] is None
    assert found[1][:2] == (f"P1-{START + BEFORE:%Y%m%d-%H%M%S}", "inferred")


def test_a_file_that_reaches_past_the_newest_shot_goes_on_at_the_press(engine: sa.Engine) -> None:
    pipeline(engine).take(messages(cushions(40)))
    made = of_file(cushions(60), shift=timedelta())

    counts = imported(engine, made)

    assert (counts.duplicates, counts.stored, counts.past) == (40, 20, 0)
    assert [row[0] for row in rows(engine, runs.c.opened_by)] == ["inferred"]


def test_a_run_that_is_named_at_a_second_import_keeps_its_shots(engine: sa.Engine) -> None:
    made = of_file(cushions(60))
    imported(engine, made)
    assert [row[1] for row in rows(engine, runs.c.name, runs.c.opened_by)] == ["inferred"]

    counts = imported(engine, a_file(made, "R-0420"))

    assert counts.duplicates == 60
    [(name, opened_by, mold, closed_at)] = rows(
        engine, runs.c.name, runs.c.opened_by, runs.c.mold, runs.c.closed_at
    )
    assert (name, opened_by, mold) == ("R-0420", "file", "Larch 5")
    assert closed_at == made[-1].ended_at
    assert {row[0] for row in rows(engine, shots.c.run_id)} == {1}


def test_a_run_with_shots_of_the_press_itself_is_not_renamed_by_a_file(engine: sa.Engine) -> None:
    pipeline(engine).take(messages(cushions(40)))

    imported(engine, a_file(of_file(cushions(40), shift=timedelta()), "R-9"))

    assert [row[0] for row in rows(engine, runs.c.opened_by)] == ["inferred"]


def test_a_message_of_a_run_that_was_followed_by_another_comes_too_late_to_open_it(
    engine: sa.Engine,
) -> None:
    running_press(engine)
    at = (START - timedelta(hours=5)).isoformat()
    pipeline(engine).take([topic_message("run", action="open", at=at, run="R-0", mold="Hazel 7")])
    pipeline(engine).take([message(60, {"cushion": 6.0})])

    found = rows(engine, runs.c.name, runs.c.closed_at)
    assert found == [("R-1", None), ("R-0", START)]
    assert rows(engine, shots.c.run_id)[-1] == (1,)


def test_the_second_import_of_an_old_file_by_another_name_is_known(engine: sa.Engine) -> None:
    running_press(engine)
    whole = a_file(of_file(cushions(60, seed=7)))
    imported(engine, whole)

    other = [
        each._replace(source="copy.csv") if isinstance(each, Shot) else replace(each, source="copy.csv")
        for each in whole
    ]
    counts = imported(engine, other)

    assert (counts.duplicates, counts.past) == (60, 0)
    assert [row[0] for row in rows(engine, runs.c.name)] == ["R-1", "R-0300"]


def begun(engine: sa.Engine) -> list[tuple[object, ...]]:
    """Each run with its beginning in minutes after `START` and how many shots it has."""
    counted = sa.select(sa.func.count()).where(shots.c.run_id == runs.c.id).scalar_subquery()
    query = sa.select(runs.c.name, runs.c.opened_at, counted).order_by(runs.c.id)
    with database.read(engine) as conn:
        return [(name, (at - START) / timedelta(minutes=1), count) for name, at, count in conn.execute(query)]


def test_a_late_first_shot_moves_the_beginning_of_the_run_that_a_file_named(engine: sa.Engine) -> None:
    made = of_file(cushions(40), shift=timedelta())
    imported(engine, a_file(made[1:]))
    assert begun(engine) == [("R-0300", 1.0, 39)]

    counts = imported(engine, a_file(made))

    assert (counts.late, counts.duplicates) == (1, 39)
    assert begun(engine) == [("R-0300", 0.0, 40)]


def test_a_late_shot_of_a_run_of_the_past_leaves_the_running_press_alone(engine: sa.Engine) -> None:
    """Its counters are those of shots that the press makes now: they count anew with each mold."""
    running_press(engine)
    made = of_file(cushions(40, seed=7))
    imported(engine, a_file([each for place, each in enumerate(made) if place not in {0, 20}]))
    ends = rows(engine, runs.c.closed_at)

    counts = imported(engine, a_file(made))

    assert (counts.stored, counts.late, counts.duplicates) == (0, 2, 38)
    assert rows(engine, runs.c.closed_at) == ends, "the running run stays open"
    stored = sorted(rows(engine, shots.c.counter, shots.c.epoch, shots.c.run_id)[60:])
    assert stored == [(1000 + place, -10_000, 2) for place in range(40)]
    assert of_run(engine, "R-0300") == told_of([message(n, each.values) for n, each in enumerate(made)])
    pipeline(engine).take([message(60, {"cushion": 6.0})])
    assert rows(engine, shots.c.counter, shots.c.run_id, shots.c.epoch)[-1] == (1060, 1, 0)


def test_a_late_first_shot_does_not_move_what_the_floor_said(engine: sa.Engine) -> None:
    opened = topic_message("run", action="open", at=(START + timedelta(minutes=1)).isoformat(), run="R-1")
    pipeline(engine).take([opened, *messages(cushions(40))[1:]])
    pipeline(engine).take([message(0, {"cushion": 6.0}, run="R-1")])

    assert begun(engine) == [("R-1", 1.0, 40)]


@pytest.mark.parametrize("counted", [True, False], ids=["with a counter", "without"])
def test_a_few_late_first_shots_are_of_the_run_that_was_inferred_after_them(
    engine: sa.Engine, counted: bool
) -> None:
    made = [each if counted else each._replace(counter=None) for each in of_file(cushions(40))]
    imported(engine, made[3:])
    [(name, *_)] = begun(engine)

    counts = imported(engine, made)

    assert (counts.late, counts.past, counts.duplicates) == (3, 0, 37)
    assert [(each[0], each[2]) for each in begun(engine)] == [(name, 40)]
    assert {row[0] for row in rows(engine, runs.c.opened_at)} == {made[0].ended_at}


def test_shots_from_before_a_stop_are_not_of_the_run_after_it(engine: sa.Engine) -> None:
    made = of_file(cushions(40))
    before = [each._replace(ended_at=each.ended_at - timedelta(hours=1)) for each in made[:3]]
    imported(engine, made[3:])

    counts = imported(engine, [*before, *made[3:]])

    assert (counts.late, counts.past, counts.duplicates) == (0, 3, 37)
    assert sorted(each[2] for each in begun(engine)) == [3, 37]
