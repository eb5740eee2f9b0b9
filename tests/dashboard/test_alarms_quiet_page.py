"""The alarms page: shelving, out of service, holds thought over, load, silence, names with markup."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

from collector.actions import shelving
from collector.alarms.silence import Verdict
from collector.alarms.silence_apply import apply
from collector.clock import Moment
from collector.store import database, heartbeats, tables
from dashboard.blocks.lane_words import sentence as lane_sentence
from dashboard.blocks.lane_words import stale_words
from dashboard.blocks.plain import sentence
from dashboard.queries.floor import read_floor
from tests.collector.alarms.floor import Floor
from tests.dashboard.test_alarms_page import opened, page, text


@pytest.fixture
def floor(store: sa.Engine) -> Floor:
    """A press whose mold core warmed up: one active alarm with a growing hold."""
    return drifting(store, "P2")


def drifting(store: sa.Engine, name: str) -> Floor:
    floor = Floor(store, name)
    floor.make(floor.steady(120))
    floor.make(floor.steady(40, 2, mold_core_temperature=1.2 * (1 - np.exp(-np.arange(1, 41) / 25))))
    with database.write(store) as conn:
        conn.execute(sa.delete(tables.clocks))
        now = floor.clock.now()
        conn.execute(
            sa.insert(tables.clocks).values(id=1, wall_anchor=now, service_anchor=now, speed=1e-9)
        )
    return floor


def tab(name: str) -> AppTest:
    at = page().run()
    at.segmented_control(key="alarms_which").set_value(name).run()
    assert not at.exception
    return at


def test_an_alarm_is_shelved_listed_and_taken_back(floor: Floor) -> None:
    number = floor.alarm().id
    at = opened()
    at.selectbox(key=f"alarms_shelf_who_{number}").select("technician 1")
    at.selectbox(key=f"alarms_shelf_hours_{number}").select(2.0)
    at.text_input(key=f"alarms_shelf_reason_{number}").input("flow meter is on order")
    at.button(key=f"alarms_shelf_{number}").click().run()
    assert not at.exception
    assert f"Alarm {number} is shelved by technician 1." in text(at)
    assert "No alarm needs a person" in text(at)
    assert "leave alone" not in text(at)  # what is shelved is not steady
    assert floor.alarm().state == "shelved"

    at = tab("Kept quiet")
    assert "by technician 1: flow meter is on order." in text(at)
    until = floor.rows("set_asides")[0]["until"] - floor.clock.now()
    assert abs(until - timedelta(hours=2)) < timedelta(seconds=1)
    assert not [one for one in at.button if one.key and one.key.startswith(("alarms_ack", "alarms_close"))]
    at.selectbox(key=f"alarms_unshelf_who_{number}").select("operator 1")
    at.button(key=f"alarms_unshelf_{number}").click().run()
    assert floor.alarm().state == "active_unacknowledged"


def test_a_shelf_without_an_end_is_refused_with_a_sentence(floor: Floor) -> None:
    number = floor.alarm().id
    at = opened()
    at.selectbox(key=f"alarms_shelf_who_{number}").select("technician 1")
    at.text_input(key=f"alarms_shelf_reason_{number}").input("x")
    at.button(key=f"alarms_shelf_{number}").click().run()
    assert "Say until when: an alarm is not shelved without an end" in text(at)
    assert floor.alarm().state == "active_unacknowledged"
    hours = at.selectbox(key=f"alarms_shelf_hours_{number}").options
    assert hours == ["15 min", "30 min", "1 h", "2 h", "4 h", "8 h"]


def test_a_characteristic_is_taken_out_of_service_and_put_back(floor: Floor) -> None:
    at = tab("Kept quiet")
    assert "Nothing is out of service." in text(at)
    at.selectbox(key="alarms_out_press").select("P2")
    at.selectbox(key="alarms_out_key").select("mold_core_temperature")
    at.selectbox(key="alarms_out_who").select("technician 1")
    at.text_input(key="alarms_out_reason").input("thermocouple changed")
    at.button(key="alarms_out_button").click().run()
    assert not at.exception
    assert floor.alarm().state == "out_of_service"
    assert "P2, mold core temperature: out of service since" in text(at)
    assert "technician 1: thermocouple changed." in text(at)
    (out,) = floor.rows("set_asides")
    at.selectbox(key=f"alarms_back_who_{out['id']}").select("technician 1")
    at.button(key=f"alarms_back_button_{out['id']}").click().run()
    assert floor.alarm().state == "active_unacknowledged"
    assert "Nothing is out of service." in text(at)


def test_a_hold_is_sorted_with_both_counts(floor: Floor) -> None:
    (hold,) = floor.rows("holds")
    at = opened()
    at.selectbox(key=f"alarms_hold_who_{hold['id']}").select("quality 1")
    at.text_input(key=f"alarms_hold_reason_{hold['id']}").input("every disc gauged")
    at.number_input(key=f"alarms_good_{hold['id']}").set_value(30)
    at.button(key=f"alarms_sort_{hold['id']}").click().run()
    assert "Count both: how many discs are good, and how many are scrapped" in text(at)
    at.number_input(key=f"alarms_bad_{hold['id']}").set_value(4)
    at.button(key=f"alarms_sort_{hold['id']}").click().run()
    assert not at.exception
    assert (floor.rows("holds")[0]["state"], floor.rows("holds")[0]["bad_discs"]) == ("sorted", 4)
    assert "sorted (30 good, 4 scrapped, " in text(at)
    assert " not found) by quality 1, every disc gauged" in text(at)


def test_a_decided_hold_is_thought_over(floor: Floor) -> None:
    (hold,) = floor.rows("holds")
    at = opened()
    at.selectbox(key=f"alarms_hold_who_{hold['id']}").select("quality 1")
    at.text_input(key=f"alarms_hold_reason_{hold['id']}").input("five discs fine")
    at.button(key=f"alarms_release_{hold['id']}").click().run()
    at = tab("On hold")
    assert "Nothing is on hold" in text(at)
    assert "released by quality 1, five discs fine" in text(at)
    at.selectbox(key=f"alarms_reopen_who_{hold['id']}").select("quality 1")
    at.text_input(key=f"alarms_reopen_reason_{hold['id']}").input("the buyer found a flat one")
    at.button(key=f"alarms_reopen_{hold['id']}").click().run()
    assert not at.exception
    assert floor.rows("holds")[0]["state"] == "open"
    assert "Set aside trays" in text(at)


def test_discs_are_set_aside_by_tray(floor: Floor) -> None:
    at = tab("On hold")
    at.segmented_control(key="alarms_hand_by").set_value("By tray").run()
    at.button(key="alarms_hand_button").click().run()
    assert "Choose the press whose discs are set aside" in text(at)
    at.selectbox(key="alarms_hand_press").select("P2")
    at.selectbox(key="alarms_hand_who").select("operator 1")
    at.text_input(key="alarms_hand_reason").input("black specks")
    at.text_input(key="alarms_hand_tray_from").input("42")
    at.text_input(key="alarms_hand_tray_to").input("43")
    at.button(key="alarms_hand_button").click().run()
    assert not at.exception
    hold = floor.rows("holds")[-1]
    assert (hold["from_shot_id"], hold["to_shot_id"]) == (21, 60)
    assert "P2, trays 42 to 43: on hold." in text(at)
    assert at.text_input(key="alarms_hand_reason").value == ""
    at.selectbox(key="alarms_hand_press").select("P2")
    at.text_input(key="alarms_hand_tray_from").input("99")
    at.button(key="alarms_hand_button").click().run()
    assert "P2: no disc of this press went to tray 99" in text(at)


def test_the_load_stands_beside_the_figures_of_the_standard(floor: Floor) -> None:
    at = tab("Load")
    table = next(one.value for one in at.table if "The standard" in one.value)
    rows = {row["Measure"]: row for _, row in table.iterrows()}
    assert rows["Alarms an hour, each operator"]["The standard"] == "6; at most 12"
    assert rows["Alarms an hour, each operator"][""] == "met"
    assert rows["Nobody has them yet"]["Here"] == "1"
    assert "the standard asks for 30 before anything is concluded" in text(at)
    frequent = next(one.value for one in at.table if "Times" in one.value)
    assert list(frequent["Alarm"]) == ["P2: Mold core temperature"]


def test_silence_says_where_to_look_and_has_no_discs(floor: Floor) -> None:
    verdict = Verdict(subject="gateway:", press_id=None, says="silent", headline="All presses are silent: P2")
    apply(floor.engine, [verdict], site="lowland", moment=Moment(floor.clock.now(), floor.clock.now()))
    at = opened()
    number = floor.rows("alarms")[-1]["id"]
    assert any("Service: All presses are silent" in option for option in at.radio[0].options)
    at.radio[0].set_value(number).run()
    assert not at.exception
    assert "Where to look, in this order" in text(at)
    for words in ("What moved", "on hold", "Often seen with"):
        assert words not in text(at)


EVIL = "P7 [x](www.bad) :red[**a**] <b>b $y$"


def test_names_with_markup_in_them_stay_as_they_are(store: sa.Engine) -> None:
    """Everything that a message or a person names is shown with its signs, and none of them is obeyed."""
    floor = drifting(store, EVIL)
    number = floor.alarm().id
    shown = sentence(EVIL)
    at = opened()
    assert at.radio[0].options[0].count(shown) == 1
    assert at.subheader[0].value.startswith(shown)
    shelving.shelve(
        store, number, who=EVIL, clock=floor.clock, until=floor.clock.now() + timedelta(hours=1), reason=EVIL
    )
    for name in ("Kept quiet", "On hold", "Load"):
        at = tab(name)
        parts = [*at.markdown, *at.subheader, *at.caption, *at.info, *at.warning]
        everything = "\n".join([
            *(str(part.value) for part in parts), *(str(one.value.to_dict()) for one in at.table),
            *(option for one in at.radio for option in one.options),
        ])  # fmt: skip
        for sign in ("[x](www", " :red[", "**a**", " <b>", "$y$"):
            assert sign not in everything, (name, sign)


def test_the_floor_does_not_show_as_a_signal_what_is_kept_quiet_but_says_that_it_is(floor: Floor) -> None:
    now = floor.clock.now()
    with database.read(floor.engine) as conn:
        (lane,) = read_floor(conn, site="lowland", now=now, wall=now).lanes
    assert (lane.alarms_open, lane.alarms_quiet) == (1, 0)
    shelving.shelve(
        floor.engine, floor.alarm().id, who="technician 1", clock=floor.clock, until=now + timedelta(hours=1),
        reason="x",
    )  # fmt: skip
    with database.read(floor.engine) as conn:
        (lane,) = read_floor(conn, site="lowland", now=now, wall=now).lanes
    assert (lane.alarm, lane.alarms_open, lane.alarms_quiet) == (None, 0, 1)
    said = lane_sentence(lane, now, local=lambda moment: moment, provisional_shots=25)
    assert said.tone == "calm"
    assert said.detail.endswith("1 alarm kept quiet")
    assert said.act.startswith("Hold trays ")


def test_the_floor_says_what_the_service_says_of_itself(floor: Floor) -> None:
    now = floor.clock.now()
    words = "No connection to the broker"
    verdict = Verdict(subject="broker:box", press_id=None, says="silent", headline=words)
    apply(floor.engine, [verdict], site="lowland", moment=Moment(now, now))
    with database.write(floor.engine) as conn:
        heartbeats.beat(conn, "collector", wall=now, now=now)
    with database.read(floor.engine) as conn:
        found = read_floor(conn, site="lowland", now=now, wall=now)
    assert stale_words(found, lambda moment: moment) == f"{words}."
