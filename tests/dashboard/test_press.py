"""The press page: what is read, the chart memory against the stored signals, and the page itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

import dashboard
from collector.store import database, tables
from dashboard.blocks import press_frames
from dashboard.blocks.press_words import cost_words, rule_words
from dashboard.blocks.shot_values import value_table
from dashboard.queries.chart_memory import memories
from dashboard.queries.press import View, charted_keys, newest_units, press_names, read_shot, read_view

NOW = datetime(2026, 3, 3, 13, 52, tzinfo=UTC)
UTC_ZONE = ZoneInfo("UTC")
PAGE = Path(dashboard.__file__).parent / "app_pages" / "press.py"
P2 = 2


@pytest.fixture
def conn(two_presses: sa.Engine) -> Iterator[sa.Connection]:
    with database.read(two_presses) as connection:
        yield connection


def view_of(conn: sa.Connection, *, hours: float = 2) -> View:
    keys = charted_keys(conn, P2)
    return read_view(conn, P2, keys=keys, since=NOW - timedelta(hours=hours), until=NOW)


def test_the_view_holds_every_shot_and_charted_key_of_the_stretch(conn: sa.Connection) -> None:
    assert press_names(conn, "lowland") == {"P1": 1, "P2": 2}
    view = view_of(conn)
    assert len(view.shots) == 111
    assert {"cushion", "mold_core_temperature", "part_weight"} <= set(view.keys)
    assert view.shots[list(view.keys)].notna().all().all()


def test_limits_are_cut_to_the_stretch_and_hold_the_drawn_lines(conn: sa.Connection) -> None:
    view = view_of(conn)
    rows = view.limits[view.limits["key"] == "cushion"]
    assert len(rows) == 1
    assert rows["lower"].iloc[0] == pytest.approx(6.1 - 4.1 * 0.14)
    assert rows["at"].iloc[0] == view.since
    assert rows["until"].iloc[0] == NOW


def test_a_new_version_of_limits_ends_the_one_before(two_presses: sa.Engine) -> None:
    with database.write(two_presses) as conn:
        old = (
            conn.execute(sa.select(tables.limits).where(tables.limits.c.key == "cushion")).mappings().all()[1]
        )
        ids = conn.execute(sa.select(tables.shots.c.id).where(tables.shots.c.press_id == P2)).scalars().all()
        fresh = {**old, "version": 2, "standing": "firm", "run_id": None, "from_shot_id": ids[-30]}
        conn.execute(sa.insert(tables.limits).values({k: v for k, v in fresh.items() if k != "id"}))
        rows = view_of(conn).limits
    rows = rows[rows["key"] == "cushion"]
    assert list(rows["standing"]) == ["usable", "firm"]
    assert rows["until"].iloc[0] == rows["at"].iloc[1]


def test_the_memory_of_a_chart_equals_what_the_engine_stored_with_its_signals(conn: sa.Connection) -> None:
    view = view_of(conn, hours=8)
    shares = memories(conn, P2, view)["mold_core_temperature"].set_index("id")["share"]
    stored = conn.execute(
        sa.select(tables.signals.c.shot_id, tables.signals.c.share).where(
            tables.signals.c.press_id == P2,
            tables.signals.c.key == "mold_core_temperature",
            tables.signals.c.chart == "cusum",
        )
    ).all()
    assert len(stored) > 30
    for shot_id, share in stored:
        assert shares[shot_id] == pytest.approx(share, abs=1e-9)


def test_the_memory_does_not_depend_on_how_much_is_shown(conn: sa.Connection) -> None:
    long = memories(conn, P2, view_of(conn, hours=8))["cushion"].set_index("id")["share"]
    short = memories(conn, P2, view_of(conn, hours=0.5))["cushion"].set_index("id")["share"]
    assert 20 < len(short) < 40
    np.testing.assert_allclose(short, long[short.index], atol=1e-9)


def test_a_restart_empties_the_memory_and_begins_a_new_piece(two_presses: sa.Engine) -> None:
    with database.write(two_presses) as conn:
        ids = conn.execute(sa.select(tables.shots.c.id).where(tables.shots.c.press_id == P2)).scalars().all()
        conn.execute(
            sa.insert(tables.events).values(
                press_id=P2,
                at=NOW - timedelta(minutes=20),
                shot_id=ids[-20],
                kind="chart_restart",
                source="person",
            )
        )
        memory = memories(conn, P2, view_of(conn))["mold_core_temperature"].set_index("id")
    assert memory["share"][ids[-21]] > 1
    # z of the drifted value less k, in h: all that the sum can hold after one shot
    assert memory["share"][ids[-20]] < (3.4 / 0.22) / 8
    assert memory["piece"][ids[-20]] != memory["piece"][ids[-21]]


def test_setpoints_are_steps_that_change_with_their_event(two_presses: sa.Engine) -> None:
    at = NOW - timedelta(minutes=30)
    with database.write(two_presses) as conn:
        conn.execute(
            sa.insert(tables.events).values(
                press_id=P2, at=at, kind="setpoint", key="cooling_time", old=36.0, new=34.0, source="mqtt"
            )
        )
        steps = view_of(conn).setpoints
    steps = steps[steps["key"] == "cooling_time"]
    assert list(steps["value"]) == [36.0, 34.0]
    assert steps["until"].iloc[0] == pd.Timestamp(at)
    assert steps["until"].iloc[1] == pd.Timestamp(NOW)


def test_an_open_hold_reaches_to_the_end_of_the_stretch(conn: sa.Connection) -> None:
    holds = view_of(conn).holds
    assert len(holds) == 1
    assert holds["until"].iloc[0] == NOW
    assert NOW - holds["at"].iloc[0] == pytest.approx(timedelta(minutes=50), abs=timedelta(minutes=2))


def test_the_words_of_a_signal_come_from_its_chart_and_rule() -> None:
    assert rule_words("beyond_limit", "cusum") == "cumulative sum beyond its limit"
    assert rule_words("beyond_limit", "individuals") == "beyond its limit"
    assert rule_words("same_side", "individuals") == "9 shots in a row on one side of center"
    assert rule_words("same_side:8", "individuals") == "8 shots in a row on one side of center"
    assert rule_words("beyond_limit", "engineering_limits") == "beyond its engineering limit"
    assert rule_words("something_new") == "something new"


def test_what_the_charts_cost_is_one_sentence_or_nothing() -> None:
    assert cost_words([{}], 1.0) == ""
    words = cost_words([{"false_alarms_per_shift": 0.33}, {"false_alarms_per_shift": 0.31}], 1.0)
    assert words.startswith("Expect about 0.33 false alarms in a shift of 8 h")
    many = cost_words([{"false_alarms_per_shift": 131.4}], 1.0)  # all eight rules on every chart
    assert many.startswith("Expect about 130 false alarms")


def test_signals_of_one_shot_are_joined_in_words(conn: sa.Connection) -> None:
    view = view_of(conn)
    frame = press_frames.labeled_shots(view, UTC_ZONE)
    rows = press_frames.shots_of(frame, view, "mold_core_temperature")
    last = rows.iloc[-1]
    assert last["signal"] == "beyond its limit; cumulative sum beyond its limit"
    assert rows["signal"].iloc[0] == ""
    assert last["label"].startswith("shot 1,039 at 13:5")


def test_all_values_of_a_shot_stand_with_unit_setpoint_and_what_was_sent(conn: sa.Connection) -> None:
    shot = read_shot(conn, 12)
    table = value_table(shot).set_index("Quantity")
    assert table.loc["Cooling time", ["Value", "Setpoint"]].tolist() == ["36.00 s", "36.00 s"]
    assert table.loc["Peak melt pressure", "Value"].endswith(" MPa")
    assert table.loc["Peak melt pressure", "As sent"].endswith(" bar")
    assert read_shot(conn, 10**9) is None


def test_keys_without_limits_can_be_shown_too_and_timers_are(two_presses: sa.Engine) -> None:
    at = app().run()
    assert not at.exception
    assert at.multiselect(key="press_also_P2").value == ["hold_time", "cooling_time"]
    at.multiselect(key="press_also_P2").set_value([]).run()
    assert not at.exception


def test_an_unknown_key_keeps_the_unit_it_was_sent_with(two_presses: sa.Engine) -> None:
    with database.write(two_presses) as conn:
        newest = (
            sa.select(sa.func.max(tables.shots.c.id)).where(tables.shots.c.press_id == P2).scalar_subquery()
        )
        conn.execute(
            sa.update(tables.shots)
            .where(tables.shots.c.id == newest)
            .values(
                characteristics={"oil_level": 81.0, "cushion": 6.0},
                originals={"oil_level": [81.0, "percent"]},
            )
        )
        assert newest_units(conn, P2) == {"oil_level": "percent", "cushion": None}


def app() -> AppTest:
    return AppTest.from_file(str(PAGE), default_timeout=30)


def test_the_page_opens_on_the_press_whose_alarm_asks_most_for_a_person(two_presses: sa.Engine) -> None:
    at = app()
    at.run()
    assert not at.exception
    assert at.selectbox(key="press").value == "P2"


def test_the_page_draws_every_characteristic_and_names_its_marks(two_presses: sa.Engine) -> None:
    at = app()
    at.query_params["press"] = "P2"
    at.run()
    assert not at.exception
    assert at.selectbox(key="press").value == "P2"
    words = " ".join(each.value for each in at.markdown)
    assert "yellow: signal" in words
    assert "on hold" in words
    assert words.count("small shifts added up") == 1
    assert "false alarms in a shift" in words


def test_a_vital_characteristic_is_shown_before_it_has_limits(two_presses: sa.Engine) -> None:
    """Also where another has them already: a timer has its own from the first steady shot."""
    with database.write(two_presses) as conn:
        conn.execute(sa.update(tables.limits).where(tables.limits.c.key == "cushion").values(key="hold_time"))
    at = app()
    at.query_params["press"] = "P2"
    at.run()
    assert not at.exception
    assert any("No limits yet for cushion: they" in each.value for each in at.markdown)
    assert "cushion" not in at.multiselect(key="press_also_P2").options
    specs = [each.proto.spec for each in at.get("vega_lite_chart")]
    assert any("Cushion (mm)" in each for each in specs)


@pytest.mark.parametrize("span", ["Last shift (8 h)", "One run"])
def test_other_stretches_of_time_are_drawn_too(two_presses: sa.Engine, span: str) -> None:
    at = app().run()
    at.segmented_control(key="press_span").set_value(span).run()
    assert not at.exception
    assert any("280 shots" in each.value for each in at.markdown)


def test_a_clicked_shot_opens_its_values(two_presses: sa.Engine) -> None:
    at = app()
    at.session_state["press_shot"] = 200
    at.run()
    assert not at.exception
    assert any("place" in each.value and "Alder 9" in each.value for each in at.markdown)
    assert "Injection time" in set(at.dataframe[0].value["Quantity"])


def test_an_empty_store_says_what_will_come(store: sa.Engine) -> None:
    at = app().run()
    assert not at.exception
    assert any("No press has reported yet" in each.value for each in at.markdown)


def test_a_press_without_shots_lately_opens_on_its_newest_run(store: sa.Engine, seed: object) -> None:
    seed(store, ("P1", "P6"))  # type: ignore[operator]
    at = app()
    at.query_params["press"] = "P6"
    at.run()
    assert not at.exception
    assert at.segmented_control(key="press_span").value == "One run"
    assert not any("No shot in this time" in each.value for each in at.markdown)
    at.segmented_control(key="press_span").set_value("Last 2 h").run()
    assert at.segmented_control(key="press_span").value == "Last 2 h"
    running = app().run()
    assert running.segmented_control(key="press_span").value == "Last 2 h"


def test_the_limits_of_a_timer_are_no_lines(conn: sa.Connection) -> None:
    shown = view_of(conn)
    for key, drawn in (("cooling_time", False), ("cushion", True)):
        limits = shown.limits[shown.limits["key"] == "cushion"].assign(key=key)
        segments = press_frames.segments_of(replace(shown, limits=limits), key, UTC_ZONE)
        assert segments["upper"].notna().all() == drawn
        assert segments["center"].notna().all()


def test_a_time_without_shots_says_so(store: sa.Engine, seed: object) -> None:
    seed(store, ("P6",))  # type: ignore[operator]
    at = app().run()
    at.segmented_control(key="press_span").set_value("Last 2 h").run()
    assert not at.exception
    assert any("No shot in this time" in each.value for each in at.markdown)
