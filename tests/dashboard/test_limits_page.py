"""A person studies a run on the limits page, leaves shots out, confirms, and approves."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

import dashboard
from collector.actions.limits import retire
from collector.actions.limits_steady import Steady
from collector.actions.limits_study import propose_key
from collector.clock import ServiceClock
from collector.store import database, tables
from collector.store.tables import journal, limits
from dashboard.blocks import limits_words
from dashboard.blocks.limits_budget import number, sentence
from dashboard.blocks.limits_trial import try_on
from dashboard.queries.limits import Tried
from rules.baseline import Floor
from rules.charts import CHARTS, make
from tests.dashboard.conftest import NOW

PAGES = Path(dashboard.__file__).parent / "app_pages"
BAD_SHOT = 280 - 44  # of P3, see the story


def page(press: str) -> AppTest:
    at = AppTest.from_file(str(PAGES / "limits.py"), default_timeout=120).run()
    return at if at.selectbox(key="press").value == press else at.selectbox(key="press").select(press).run()


@pytest.fixture
def studied(two_presses: sa.Engine) -> AppTest:
    return page("P1")


@pytest.fixture
def with_bad_shot(store: sa.Engine, seed: Callable[..., None]) -> sa.Engine:
    seed(store, ("P3",))
    return store


def words(at: AppTest) -> str:
    return "\n".join(each.value for each in (*at.subheader, *at.markdown))


def approved(engine: sa.Engine) -> dict[str, Any]:
    query = sa.select(limits).where(limits.c.reason == "a sound shift")
    with database.read(engine) as conn:
        return {row.key: row for row in conn.execute(query)}


def press_approve(at: AppTest, why: str) -> AppTest:
    at.selectbox(key="approve_who").select("quality 1")
    at.text_input(key="approve_why").set_value(why)
    button = next(each for each in at.button if each.label == "Approve these limits")
    return button.click().run()


def test_each_characteristic_says_what_is_proposed_and_what_it_costs(studied: AppTest) -> None:
    assert not studied.exception
    said = words(studied)
    assert "in 24 h; the floor allows 1" in said
    assert "**Cushion**" in said
    assert "Any change from 36.00 s." in said
    delays = next(each.value for each in studied.table if "mm" in each.value.iloc[0, 0])
    assert [text.split(" mm ")[1] for text in delays.iloc[:, 0]] == [
        "(0.5 sigma)", "(1 sigma)", "(2 sigma)", "(3 sigma)",
    ]  # fmt: skip
    assert all("shots" in text for text in delays.iloc[:, 1])


def test_approving_needs_a_reason(studied: AppTest, two_presses: sa.Engine) -> None:
    at = press_approve(studied, " ")

    assert any("say in a few words" in warning.value.lower() for warning in at.warning)
    assert approved(two_presses) == {}


def test_approved_limits_are_stored_with_who_and_why_and_journaled(
    studied: AppTest, two_presses: sa.Engine
) -> None:
    studied.multiselect(key="approve_not").set_value(["part_weight"])
    at = press_approve(studied, "a sound shift")

    assert not at.exception
    found = approved(two_presses)
    assert {"cushion", "hold_time"} <= found.keys()
    assert "part_weight" not in found
    assert found["cushion"].approved_by == "quality 1"
    with database.read(two_presses) as conn:
        assert "approve limits" in conn.execute(sa.select(journal.c.action)).scalars().all()
    (versions,) = at.dataframe
    state = versions.value.set_index("Characteristic").loc["Cushion", "State"]
    assert state == "from the next shot on"


def test_what_is_in_force_already_is_not_offered_again_and_the_form_is_empty(studied: AppTest) -> None:
    at = press_approve(studied, "a sound shift")

    assert not at.exception
    assert "Nothing is left to approve. In force already, equal in every number: " in words(at)
    assert not [each for each in at.button if each.label == "Approve these limits"]
    at = at.selectbox(key="press").select("P2").run()
    assert at.text_input(key="approve_why").value == ""
    assert at.selectbox(key="approve_who").value is None


def test_what_was_refused_stays_as_it_was_typed(studied: AppTest) -> None:
    studied.text_input(key="approve_why").set_value("a sound shift")
    next(each for each in studied.button if each.label == "Approve these limits").click().run()
    assert any("needs a name" in warning.value for warning in studied.warning)
    assert studied.text_input(key="approve_why").value == "a sound shift"


def test_a_shot_that_stands_out_counts_until_a_person_leaves_it_out(with_bad_shot: sa.Engine) -> None:
    at = page("P3")
    (box,) = [each for each in at.checkbox if each.label.startswith("Leave out.")]
    assert "1.20 mm" in box.label
    with database.read(with_bad_shot) as conn:
        frame = pd.DataFrame(conn.execute(sa.select(tables.shots.c.id, tables.shots.c.phase)).all())
    bad = int(frame["id"].iloc[BAD_SHOT])

    at = box.check().run()
    assert [each.value for each in at.checkbox if each.label.startswith("Leave out.")] == [True]
    press_approve(at, "a sound shift")

    assert approved(with_bad_shot)["cushion"].cost["study"]["left_out"] == [bad]
    with database.read(with_bad_shot) as conn:
        (entry,) = conn.execute(
            sa.select(journal.c.after).where(journal.c.action == "approve limits")
        ).scalars()
    assert entry["cushion"]["left_out"] == [bad]


def test_many_shots_that_stand_out_can_be_left_out_at_once(with_bad_shot: sa.Engine) -> None:
    table = tables.shots
    with database.write(with_bad_shot) as conn:
        rows = conn.execute(sa.select(table.c.id, table.c.characteristics).order_by(table.c.id)).all()
        bad = [row.id for row in rows[100:228:16]]
        for row in rows[100:228:16]:
            values = {**row.characteristics, "cushion": 2.5}
            conn.execute(sa.update(table).where(table.c.id == row.id).values(characteristics=values))
    at = page("P3")
    assert any("0 of them left out" in each.label for each in at.expander)

    at.button(key="limits_out_all_1_cushion").click().run()
    assert not at.exception
    press_approve(at, "a sound shift")
    assert set(bad) <= set(approved(with_bad_shot)["cushion"].cost["study"]["left_out"])


def test_what_must_be_confirmed_is_approved_only_once_it_is(
    store: sa.Engine, seed: Callable[..., None]
) -> None:
    seed(store, ("P2",))  # its core temperature drifts at the end
    at = page("P2")
    agreed = [each for each in at.checkbox if each.key and "_agreed_" in each.key]
    assert agreed
    key = str(agreed[0].key).split("_1_", 1)[1]

    assert key not in approved(press_and_read(at, store))
    at = page("P2")
    at = next(each for each in at.checkbox if each.key == agreed[0].key).check().run()
    press_approve(at, "a sound shift")
    assert "confirmed" in approved(store)[key].cost


def press_and_read(at: AppTest, engine: sa.Engine) -> sa.Engine:
    press_approve(at, "a sound shift")
    return engine


def test_a_study_stays_what_it_was_until_a_person_asks_for_newer_shots(
    studied: AppTest, two_presses: sa.Engine
) -> None:
    def says() -> str:
        return next(each.value for each in studied.markdown if each.value.startswith("Studied:"))

    before = says()
    with database.write(two_presses) as conn:
        newest = (
            conn.execute(
                sa.select(tables.shots)
                .where(tables.shots.c.press_id == 1)
                .order_by(tables.shots.c.id.desc())
                .limit(1)
            )
            .mappings()
            .one()
        )
        changed = {"counter": newest["counter"] + 1, "ended_at": NOW + timedelta(minutes=1)}
        row = {name: value for name, value in newest.items() if name != "id"}
        conn.execute(sa.insert(tables.shots).values({**row, **changed}))
    studied.run()
    assert says() == before

    studied.button(key="limits_anew").click().run()
    assert says() != before


def test_a_run_too_short_is_no_choice(store: sa.Engine, seed: Callable[..., None]) -> None:
    seed(store, ("P4",))  # 32 shots, of which 22 are steady
    at = page("P4")
    assert not at.exception
    assert any("25 steady shots" in each.value for each in at.markdown)


def test_the_press_page_leads_here(two_presses: sa.Engine) -> None:
    at = AppTest.from_file(str(PAGES / "press.py"), default_timeout=60).run()
    assert not at.exception
    assert not [each for each in at.button if each.label == "Approve these limits"]


def steady(values: np.ndarray, counters: range) -> Steady:
    """A study of nothing but numbers."""
    at = pd.date_range(NOW, periods=len(values), freq="min")
    frame = pd.DataFrame(
        {"id": range(1, len(values) + 1), "counter": counters, "ended_at": at, "cushion": values}
    )
    return Steady(
        run_id=1, press_id=1, context="", frame=frame, keys=("cushion",), boundaries=(), setpoints={},
        floor=Floor(characteristics=1), minimum_shift={},
    )  # fmt: skip


def test_the_constants_are_in_physical_units() -> None:
    common = {"center": 6.0, "sigma": 0.1}
    limit = make("individuals", {**common, "width": 4.0})
    assert limits_words.chart_words("cushion", limit) == "A single shot outside 5.60 to 6.40 mm (4.00 sigma)."
    total = make("cusum", {**common, "k": 0.5, "h": 8.0})
    assert "beyond 0.050 mm from center, over 0.80 mm" in limits_words.chart_words("cushion", total)
    least = make("cusum", {**common, "k": 0.5, "h": 8.0, "minimum_shift": 0.2})
    assert "beyond 0.20 mm from center" in limits_words.chart_words("cushion", least)
    band = make("engineering_limits", {"lower": 18.0, "upper": 22.0})
    assert "18.0 to 22.0 °C" in limits_words.chart_words("coolant_supply_temperature", band)


def test_there_are_words_for_every_chart_that_limits_may_hold() -> None:
    given = {
        "individuals": {"center": 6.0, "sigma": 0.1}, "moving_range": {"sigma": 0.1},
        "cusum": {"center": 6.0, "sigma": 0.1}, "ewma": {"center": 6.0, "sigma": 0.1},
        "setting": {"setpoint": 6.0, "tolerance": 0.01},
        "residual": {"center": 6.0, "sigma": 0.1, "phi": 0.5},
        "c": {"center": 4.0}, "np": {"center": 0.1, "size": 50}, "spread": {"sigma": 0.1},
        "engineering_limits": {"lower": 5.0, "upper": 7.0},
    }  # fmt: skip
    assert given.keys() == CHARTS.keys()
    for name, parameters in given.items():
        assert len(limits_words.chart_words("cushion", make(name, parameters))) > 20


def test_sentences_name_shots_by_the_counter_of_the_press() -> None:
    found = steady(np.linspace(5.9, 6.1, 40), range(1000, 1040))
    said = limits_words.with_counters("The level steps at shot 3, 12; it holds from shot 12 to 39.", found)
    assert said == "The level steps at shot 1,003, 1,012; it holds from shot 1,012 to 1,039."
    assert limits_words.with_counters("421 shots are worth 157.", found) == "421 shots are worth 157."


def test_delays_and_rates_are_no_finer_than_they_are_known() -> None:
    assert limits_words.seen_after(0.7, 60.0) == "1 shot, 1.0 min"  # the first that has the shift
    assert limits_words.seen_after(8.04, 60.0) == "8.0 shots, 8.0 min"
    assert limits_words.seen_after(341.9, 62.0) == "342 shots, 5.9 h"
    assert limits_words.seen_after(float("inf"), 60.0) == "not seen"
    assert limits_words.rate(0.05) == "0.05 in 8 h (one in 20 shifts)"
    assert limits_words.rate(None) == "no rate can be computed"
    assert number(484.2) == "480"
    assert sentence(1.0 / 3.0, 1.0).startswith("These charts raise about 1 false alarm in 24 h")


def test_a_proposal_is_tried_on_the_last_shots_and_on_later_runs() -> None:
    rng = np.random.default_rng(3)
    found = steady(rng.normal(6.0, 0.1, 300), range(1, 301))
    each = propose_key(found, "cushion")
    later = steady(np.r_[rng.normal(6.0, 0.1, 50), 9.0], range(301, 352)).frame
    tried = [Tried(run="R-1", later=False, frame=found.frame), Tried(run="R-2", later=True, frame=later)]

    before, after = try_on(each, tried, last=100)
    assert (before.judged, before.shot_ids) == (100, ())
    assert (after.judged, after.counters) == (51, (351,))


def test_a_band_that_is_entered_is_tried_and_approved_in_place_of_the_suggestion(
    store: sa.Engine, seed: Callable[..., None]
) -> None:
    seed(store, ("P1",))
    wander = _wander(280)
    table = tables.shots
    with database.write(store) as conn:
        rows = conn.execute(sa.select(table.c.id, table.c.characteristics).order_by(table.c.id)).all()
        for row, value in zip(rows, wander, strict=True):
            values = {**row.characteristics, "cushion": float(value)}
            conn.execute(sa.update(table).where(table.c.id == row.id).values(characteristics=values))
    at = page("P1")
    assert "cushion" in approved_keys_to_confirm(at)
    lowest, highest = (next(each for each in at.number_input if each.label == name)
                       for name in ("Lowest, mm", "Highest, mm"))  # fmt: skip
    lowest.set_value(round(float(np.quantile(wander, 0.2)), 2))
    highest.set_value(round(float(np.quantile(wander, 0.8)), 2))
    at = at.run()
    inside = (lowest.value <= wander[-200:]) & (wander[-200:] <= highest.value)
    assert f"its last 200 shots: {np.count_nonzero(~inside)} (" in words(at)

    next(
        each for each in at.checkbox if "_agreed_" in str(each.key) and "cushion" in str(each.key)
    ).check().run()
    press_approve(at, "a sound shift")
    found = approved(store)["cushion"]
    assert found.charts[0]["chart"] == "engineering_limits"
    assert found.charts[0]["parameters"]["lower"] == lowest.value
    assert found.cost["confirmed"] == {"lower": lowest.value, "upper": highest.value}


def _wander(count: int) -> np.ndarray:
    """A cushion that keeps 93 % of a departure from shot to shot."""
    steps = np.random.default_rng(8).normal(0.0, 0.05, count)
    values = np.zeros(count)
    for place in range(1, count):
        values[place] = 0.93 * values[place - 1] + steps[place]
    return np.round(6.1 + values, 2)


def approved_keys_to_confirm(at: AppTest) -> set[str]:
    """Characteristics that the page asks to confirm."""
    return {str(each.key).split("_1_", 1)[1] for each in at.checkbox if "_agreed_" in str(each.key)}


def test_limits_are_taken_out_of_force_only_once_they_are_chosen(
    studied: AppTest, two_presses: sa.Engine
) -> None:
    at = press_approve(studied, "a sound shift")
    at.selectbox(key="retire_who").select("quality 1")
    at.text_input(key="retire_why").set_value("the gate was widened")
    next(each for each in at.button if each.label == "Take out of force").click().run()
    assert at.warning[0].value == "Choose which limits are taken out of force."
    at.selectbox(key="retire_which").select(approved(two_presses)["cushion"].id)
    next(each for each in at.button if each.label == "Take out of force").click().run()
    assert not at.exception
    assert approved(two_presses)["cushion"].retired_at is not None
    assert [key for key, row in approved(two_presses).items() if row.retired_at] == ["cushion"]


def test_a_version_that_is_retired_keeps_who_why_and_since_when(two_presses: sa.Engine) -> None:
    press_approve(page("P1"), "a sound shift")
    old = approved(two_presses)["cushion"].id
    clock = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
    retire(two_presses, old, who="quality 1", why="the gate was widened", clock=clock)
    press_approve(page("P1"), "a sounder shift")
    at = page("P1")
    at = at.segmented_control(key="limits_versions").set_value("All").run()

    rows = at.dataframe[0].value
    cushion = rows[(rows["Characteristic"] == "Cushion") & rows["Why"].str.startswith("a sound")]
    assert list(cushion["State"]) == ["from the next shot on", "retired"]
    assert list(cushion["Version"]) == ["2", "1"]
    assert list(cushion["Retired"] != "") == [False, True]


def test_the_run_that_was_chosen_stays_chosen_while_the_list_of_runs_changes(
    studied: AppTest, two_presses: sa.Engine
) -> None:
    """A run ends or a new one grows long enough while somebody reads: what is approved is what was chosen."""
    with database.write(two_presses) as conn:
        press_id = conn.execute(
            sa.select(tables.presses.c.id).where(tables.presses.c.name == "P1")
        ).scalar_one()
        shown = (
            conn.execute(sa.select(tables.shots).where(tables.shots.c.press_id == press_id)).mappings().all()
        )
        run = {"press_id": press_id, "name": "R-9", "opened_at": NOW, "closed_at": NOW, "opened_by": "form"}
        run_id = conn.execute(sa.insert(tables.runs).values(**run)).inserted_primary_key[0]
        again = [
            {key: value for key, value in row.items() if key != "id"} | {"epoch": 9, "run_id": run_id}
            for row in shown
        ]
        for _ in range(2):
            for row in again:
                row["epoch"] += 1
            conn.execute(sa.insert(tables.shots), again)
    before = studied.selectbox(key="limits_run_P1").value

    at = press_approve(studied, "a sound shift")

    assert len(at.selectbox(key="limits_run_P1").options) == 2
    assert at.selectbox(key="limits_run_P1").value == before
    assert {row.cost["study"]["run_id"] for row in approved(two_presses).values()} == {before}
