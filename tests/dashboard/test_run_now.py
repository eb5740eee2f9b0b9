"""The line and the forms about a press's open run, on a store that the collector's own code filled."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import sqlalchemy as sa
import streamlit as st
from streamlit.testing.v1 import AppTest

import dashboard
from collector.clock import ServiceClock
from collector.settings import Settings
from collector.store import clock as stored_clock
from collector.store import database
from collector.store.tables import journal, recipes, runs, shots
from dashboard.audit.audit import audit
from dashboard.audit.collect import collect
from dashboard.audit.tables import made
from dashboard.blocks.lane_words import run_words, sentence
from dashboard.blocks.run_now_words import now_words
from dashboard.queries.floor import read_floor
from dashboard.queries.press_run import read_now
from tests.collector.pipelines import pipeline, rows, topic_message
from tests.collector.shots_in import START, cushions, message

PAGE = Path(dashboard.__file__).parent / "app_pages" / "press.py"


@pytest.fixture
def store(
    sqlite_template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[sa.Engine]:
    """A press in the middle of a run, two of whose shots never arrived."""
    path = tmp_path / "evenrun.db"
    path.write_bytes(sqlite_template.read_bytes())
    monkeypatch.setenv("EVENRUN_DATABASE_URL", f"sqlite:///{path}")
    monkeypatch.setenv("EVENRUN_PEOPLE__SIGN_IN", "names")
    engine = database.open_engine(f"sqlite:///{path}")
    opened = topic_message("run", action="open", at=START.isoformat(), run="R-1", mold="Larch 5", lot="3118")
    batch = [
        message(n, {"cushion": value}, setpoints={"cooling_time": 38.0, "hold_pressure": 40.0})
        for n, value in enumerate(cushions(60))
    ]
    pipeline(engine).take([opened, *batch[:40], *batch[42:]])
    at = START + timedelta(minutes=60)
    with database.write(engine) as conn:
        stored_clock.save(conn, ServiceClock(wall_anchor=at, service_anchor=at, speed=1e-6))
    st.cache_resource.clear()
    st.cache_data.clear()
    yield engine
    engine.dispose()
    st.cache_resource.clear()


def page() -> AppTest:
    app = AppTest.from_file(str(PAGE), default_timeout=60).run()
    assert not app.exception
    return app


def test_the_line_says_what_is_known_of_the_run_and_how_it_came_to_be(store: sa.Engine) -> None:
    with database.read(store) as conn:
        now = read_now(conn, 1, "P1")

    assert now_words(now).split(" \u00b7 ") == [
        "Run R-1, opened by a message", "Larch 5", "lot 3118", "no recipe", "2 shots never arrived",
    ]  # fmt: skip


def test_the_clock_of_a_press_is_said_when_it_is_far_off(store: sa.Engine) -> None:
    with database.write(store) as conn:
        conn.execute(sa.text("UPDATE presses SET clock_behind_s = 240"))
    with database.read(store) as conn:
        assert "the press's clock is 4.0 min behind ours" in now_words(read_now(conn, 1, "P1"))


def test_a_run_is_opened_on_the_page(store: sa.Engine) -> None:
    app = page()
    app.text_input(key="press_run_name_P1").input("R-2 <b>")
    app.text_input(key="press_run_mold_P1").input("Rowan 7")
    app.selectbox(key="press_run_who").select("operator 1")
    app.button(key="press_run_button").click().run()

    assert not app.exception
    found = rows(store, runs.c.name, runs.c.mold, runs.c.opened_by, runs.c.closed_at)
    assert found[1] == ("R-2 <b>", "Rowan 7", "form", None)
    assert found[0][3] is not None
    assert any("R-2 \\<b\\>, opened by a person" in each.value for each in app.markdown)


def test_a_trial_is_ticked_and_neither_the_floor_nor_the_audit_takes_it_for_a_start(store: sa.Engine) -> None:
    app = page()
    app.text_input(key="press_run_name_P1").input("R-2")
    app.checkbox(key="press_run_trial_P1").check()
    app.selectbox(key="press_run_who").select("operator 1")
    app.button(key="press_run_button").click().run()

    assert any("trial, not charted" in each.value for each in app.markdown)
    pipeline(store).take([message(n, {"cushion": 6.0}) for n in range(60, 64)])
    assert [row[0] for row in rows(store, shots.c.phase)][-4:] == ["trial"] * 4
    at = START + timedelta(minutes=64)
    with database.read(store) as conn:
        (lane,) = read_floor(conn, site="lowland", now=at, wall=at).lanes
        said = sentence(lane, at, local=lambda moment: moment, provisional_shots=25)
        evidence = collect(conn, 2, settings=Settings(), taken_at=at)
    assert (said.headline, said.detail) == ("trial, shot 1,063", "stored and shown, not charted")
    phases = dict(made(audit(evidence, ZoneInfo("UTC"))).rows)["Of these"]
    assert phases == "0 startup, 0 baseline, 0 charted, 0 with a signal, 4 of a trial and so not charted"


def test_a_run_over_the_one_that_the_press_names_says_how_long_it_lasts_and_the_floor_has_it(
    store: sa.Engine,
) -> None:
    app = page()
    assert any("The press itself names its run R-1" in each.value for each in app.caption)
    app.text_input(key="press_run_name_P1").input("T-1")
    app.checkbox(key="press_run_trial_P1").check()
    app.selectbox(key="press_run_who").select("operator 1")
    app.button(key="press_run_button").click().run()

    until = "though the press goes on naming R-1, until somebody closes it or the press names yet another"
    assert any(until in each.value for each in app.info)
    assert any("the press names R-1" in each.value for each in app.markdown)
    assert any("The next shot goes to R-1 if the press still names it" in each.value for each in app.markdown)
    pipeline(store).take([message(n, {"cushion": 6.0}, run="R-1") for n in range(60, 64)])
    at = START + timedelta(minutes=64)
    with database.read(store) as conn:
        (lane,) = read_floor(conn, site="lowland", now=at, wall=at).lanes
    assert run_words(lane)[0] == "T-1 \u00b7 Larch 5"
    assert lane.activity == "running"


def test_a_lot_changed_by_form_is_the_lot_everywhere(store: sa.Engine) -> None:
    app = page()
    app.text_input(key="press_run_lot_P1").input("3120")
    app.selectbox(key="press_run_who").select("operator 1")
    app.button(key="press_run_button").click().run()

    assert any("Run R-1 is open on P1, lot 3120." in each.value for each in app.info)
    assert any("lot 3120" in each.value for each in app.markdown)
    pipeline(store).take([message(n, {"cushion": 6.0}, run="R-1") for n in range(60, 64)])
    at = START + timedelta(minutes=64)
    with database.read(store) as conn:
        (lane,) = read_floor(conn, site="lowland", now=at, wall=at).lanes
        evidence = collect(conn, 1, settings=Settings(), taken_at=at)
    assert run_words(lane)[1] == "lot 3120"
    assert "3120" in str(dict(made(audit(evidence, ZoneInfo("UTC"))).rows))


def test_the_form_shows_the_recipe_that_the_run_has(store: sa.Engine) -> None:
    with database.write(store) as conn:
        for version in (1, 2):
            conn.execute(
                sa.insert(recipes).values(name="Larch 5 A", version=version, setpoints={}, mold="Larch 5")
            )
    assert page().selectbox(key="press_run_recipe_P1").value == "none"
    with database.write(store) as conn:
        conn.execute(sa.update(runs).values(recipe_id=2))
    assert page().selectbox(key="press_run_recipe_P1").value.startswith("Larch 5 A version 2")


def test_a_trial_cannot_become_production(store: sa.Engine) -> None:
    with database.write(store) as conn:
        conn.execute(sa.update(runs).values(trial=True))
    app = page()
    assert app.checkbox(key="press_run_trial_P1").value
    app.checkbox(key="press_run_trial_P1").uncheck()
    app.selectbox(key="press_run_who").select("operator 1")
    app.button(key="press_run_button").click().run()

    assert rows(store, runs.c.trial) == [(True,)]
    assert any("is a trial and stays one" in each.value for each in app.warning)


def test_nobody_is_preset_and_a_run_that_nobody_opens_is_refused(store: sa.Engine) -> None:
    app = page()
    app.text_input(key="press_run_name_P1").input("R-2")
    app.button(key="press_run_button").click().run()

    assert [row[0] for row in rows(store, runs.c.name)] == ["R-1"]
    assert any("Say who does this" in each.value for each in app.warning)


def test_a_run_is_closed_on_the_page(store: sa.Engine) -> None:
    app = page()
    app.selectbox(key="press_run_close_who").select("operator 1")
    app.button(key="press_run_close_button").click().run()

    assert rows(store, runs.c.closed_at)[0][0] is not None
    assert any("No run is open" in each.value for each in app.markdown)


def test_a_recipe_without_any_allowed_deviation_is_refused(store: sa.Engine) -> None:
    app = page()
    app.text_input(key="press_recipe_name").input("Larch 5 A")
    app.text_input(key="press_recipe_why").input("first run good")
    app.selectbox(key="press_recipe_who").select("quality 1")
    app.button(key="press_recipe_button").click().run()

    assert rows(store, recipes.c.name) == []
    assert any("needs a setpoint" in each.value for each in app.warning)


def test_what_the_press_reports_is_qualified_as_the_next_version(store: sa.Engine) -> None:
    for version in (1, 2):
        app = page()
        app.session_state["press_recipe_table"] = {
            "edited_rows": {0: {"Allowed, either way": 0.5}}, "added_rows": [], "deleted_rows": [],
        }
        app.text_input(key="press_recipe_name").input("Larch 5 A")
        app.text_input(key="press_recipe_why").input("first run good")
        app.selectbox(key="press_recipe_who").select("quality 1")
        app.button(key="press_recipe_button").click().run()
        assert not app.exception
        assert [row[0] for row in rows(store, recipes.c.version)] == list(range(1, version + 1))

    assert rows(store, recipes.c.setpoints)[0][0] == {"cooling_time": {"setpoint": 38.0, "allowed": 0.5}}
    assert {row[0] for row in rows(store, journal.c.action)} == {"qualify recipe"}
