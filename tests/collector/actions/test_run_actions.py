"""Runs that a person opens and closes. On both databases.

What a run message does is the yardstick: a form must do the same.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from collector.actions.recipes import qualify
from collector.actions.runs import Told, close_run, open_run
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import database, journal
from collector.store.tables import engine_states, events, runs, shots, signals
from collector.store.tables import journal as entries
from tests.collector.pipelines import POLICY, messages, pipeline, rows
from tests.collector.shots_in import START, cushions, message

AT = START + timedelta(minutes=39, seconds=30)
CLOCK = ServiceClock(wall_anchor=AT, service_anchor=AT, wall=lambda: AT)
HOW: dict[str, Any] = {"site": "lowland", "policy": POLICY, "who": "operator 1", "clock": CLOCK}
LARCH = Told(mold="Larch 5", blend="A", lot="3118")


def running(engine: sa.Engine) -> list[Any]:
    batch = messages(cushions(80))
    pipeline(engine).take(batch[:40])
    return batch


def test_a_run_opened_by_form_has_the_shots_from_then_on_and_says_so(engine: sa.Engine) -> None:
    batch = running(engine)

    open_run(engine, "P1", " R-0412 ", LARCH, **HOW)
    pipeline(engine).take(batch[40:])

    found = rows(engine, runs.c.name, runs.c.opened_by, runs.c.mold, runs.c.lot, runs.c.closed_at)
    assert found[0][4] == AT
    assert found[1] == ("R-0412", "form", "Larch 5", "3118", None)
    assert [row[0] for row in rows(engine, shots.c.run_id)] == [1] * 40 + [2] * 40
    assert ("run", "form", "R-0412") in rows(engine, events.c.kind, events.c.source, events.c.new)
    with database.read(engine) as conn:
        [entry] = conn.execute(sa.select(entries.c.action, entries.c.who, entries.c.after)).all()
        assert journal.verify(conn) == []
    assert (entry.action, entry.who, entry.after["mold"]) == ("run opened", "operator 1", "Larch 5")


def test_a_pipeline_in_the_middle_of_its_work_goes_on_under_it(engine: sa.Engine) -> None:
    batch = messages(cushions(80))
    taker = pipeline(engine)
    taker.take(batch[:40])

    open_run(engine, "P1", "R-0412", LARCH, **HOW)
    taker.take(batch[40:])

    assert [row[0] for row in rows(engine, shots.c.run_id)] == [1] * 40 + [2] * 40


def test_saying_more_of_the_open_run_fills_it_in_and_a_new_lot_is_an_event(engine: sa.Engine) -> None:
    batch = running(engine)
    open_run(engine, "P1", "R-0412", LARCH, **HOW)

    open_run(engine, "P1", "R-0412", Told(lot="3119", color="sand"), **HOW)
    pipeline(engine).take(batch[40:])

    assert rows(engine, runs.c.name, runs.c.color)[1] == ("R-0412", "sand")
    lots = [row[1:] for row in rows(engine, events.c.kind, events.c.old, events.c.new) if row[0] == "lot"]
    assert lots == [("3118", "3119")]


def test_a_recipe_given_to_the_open_run_is_held_against_its_next_shots(engine: sa.Engine) -> None:
    asked = {"cooling_time": {"setpoint": 38.0, "allowed": 1.0}}
    pipeline(engine).take([message(n, {"cushion": 6.0}, setpoints={"cooling_time": 33.0}) for n in range(3)])
    qualify(
        engine, "Larch 5 A", 1, mold="Larch 5", blend="A", setpoints=asked, who="quality 1", why="good",
        clock=CLOCK,
    )

    with database.read(engine) as conn:
        name = conn.execute(sa.select(runs.c.name)).scalar_one()
    open_run(engine, "P1", name, Told(recipe="Larch 5 A", recipe_version=1), **HOW)
    pipeline(engine).take([message(40, {"cushion": 6.0})])

    assert rows(engine, signals.c.kind, signals.c.key) == [("setting", "cooling_time")]


def test_closing_leaves_the_next_shots_to_a_run_that_is_inferred(engine: sa.Engine) -> None:
    batch = running(engine)
    open_run(engine, "P1", "R-0412", LARCH, **HOW)

    close_run(engine, "P1", **HOW)
    pipeline(engine).take(batch[40:])

    found = rows(engine, runs.c.opened_by, runs.c.closed_at)
    assert [row[0] for row in found] == ["inferred", "form", "inferred"]
    assert [row[1] is None for row in found] == [False, False, True]
    close_run(engine, "P1", **HOW)
    with pytest.raises(NotAllowed, match="no run is open"):
        close_run(engine, "P1", **HOW)


def test_what_cannot_be_is_refused_in_a_sentence_and_changes_nothing(engine: sa.Engine) -> None:
    running(engine)
    open_run(engine, "P1", "R-1", LARCH, **HOW)
    open_run(engine, "P1", "R-2", LARCH, **HOW)
    before = rows(engine, runs.c.name, runs.c.closed_at)

    for name, press, how, words in (
        ("R-1", "P1", HOW, "is over"),
        ("R-3", "P9", HOW, "no press P9"),
        ("", "P1", HOW, "give the run a name"),
        ("a\nb", "P1", HOW, "printable"),
        ("R-3", "P1", {**HOW, "who": " "}, "say who"),
    ):
        with pytest.raises(NotAllowed, match=words):
            open_run(engine, press, name, LARCH, **how)
    assert rows(engine, runs.c.name, runs.c.closed_at) == before


def test_a_press_whose_clock_is_ahead_gets_its_run_all_the_same(engine: sa.Engine) -> None:
    pipeline(engine).take([message(n, {"cushion": 6.0}) for n in range(45)])  # five minutes past our clock

    open_run(engine, "P1", "R-0412", LARCH, **HOW)

    with database.read(engine) as conn:
        state = conn.execute(sa.select(engine_states.c.state)).scalar_one()
    assert state["run_id"] == 2
