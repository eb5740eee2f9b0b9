"""The alarms page: what it says, and what a person can do on it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

from collector.actions import alarms as act
from collector.alarms.gauged import judge_new
from collector.clock import real_clock, wall_now
from collector.gauging.model import NewGauging
from collector.gauging.outside import Bounds
from collector.gauging.record import record
from collector.settings import Tolerance
from collector.store import database, events, tables
from collector.store import holds as hold_store
from collector.store.withdrawn import SITE
from dashboard.blocks.alarm_words import event_row, line, moved_row
from dashboard.blocks.hold_facts import known_words
from dashboard.queries import alarms as queries
from dashboard.queries import hold_facts
from dashboard.queries.alarm_detail import EventLine
from tests.collector.alarms.floor import START, Floor
from tests.collector.alarms.test_headline import moved

FLOOR_NOW = datetime(2026, 3, 3, 13, 52, tzinfo=UTC)  # of the floors that `seed` stores
PAGE = "../../dashboard/app_pages/alarms.py"


def page() -> AppTest:
    return AppTest.from_file(PAGE, default_timeout=30)


def opened() -> AppTest:
    at = page().run()
    assert not at.exception
    return at


def text(at: AppTest) -> str:
    """Everything that can be read on the page."""
    parts = [*at.title, *at.subheader, *at.markdown, *at.caption, *at.info, *at.warning]
    return "\n".join(str(part.value) for part in parts)


@pytest.fixture
def floor(store: sa.Engine) -> Floor:
    """A press whose mold core warmed up: one active alarm with a growing hold."""
    floor = Floor(store, "P2")
    floor.make(floor.steady(120))
    floor.make(floor.steady(40, 2, mold_core_temperature=1.2 * (1 - np.exp(-np.arange(1, 41) / 25))))
    return floor


def test_a_floor_without_alarms_says_leave_alone(store: sa.Engine) -> None:
    Floor(store, "P1").make(Floor(store, "P9").steady(30))
    Floor(store, "P7")  # without a shot
    with database.write(store) as conn:
        recent = sa.update(tables.presses).where(tables.presses.c.name.in_(["P1", "P9"]))
        conn.execute(recent.values(last_shot_at=wall_now(), usual_cycle_s=60.0))
        undone = {"site": SITE, "name": "lowland P1 import 2", "last_shot_at": wall_now()}
        conn.execute(sa.insert(tables.presses).values(**undone))
    at = opened()
    assert "Inside normal variation: leave alone" in text(at)
    assert "Inside normal variation, leave alone: P1, P9." in text(at)
    for other in ("On hold", "Closed lately"):
        at.segmented_control(key="alarms_which").set_value(other).run()
        assert not at.exception
        assert "leave alone" not in text(at)


def test_a_floor_without_shots_calls_nothing_steady_and_measures_nothing(store: sa.Engine) -> None:
    at = opened()
    assert "No alarm needs a person" in text(at)
    assert "leave alone" not in text(at)
    at.segmented_control(key="alarms_which").set_value("Load").run()
    assert not at.exception
    assert "nothing to measure" in text(at)
    assert not at.table


def test_an_alarm_says_what_since_when_and_what_is_on_hold(floor: Floor) -> None:
    at = opened()
    said = text(at)
    assert at.subheader[0].value.startswith("P2: Mold core ")
    assert "°C warmer" in said
    assert "Since shot 1,1" in said
    assert "90 % confidence" in said
    assert "Set aside trays 4" in said
    assert "growing with every shot" in said
    assert "◆ active, nobody has it yet" in said


def test_an_alarm_that_turned_says_since_when(floor: Floor) -> None:
    floor.make(floor.steady(30, 3, mold_core_temperature=-0.6), batch=1)
    said = text(opened())
    assert " cooler, warmer before" in said
    assert "Since shot 1,1" in said  # when it began
    turned = floor.alarm().characteristics[0]["turned_shot_id"] + 999  # the counter of the floor's shots
    assert f"Mold core temperature: cooler since shot {turned:,} (Mon 08:4" in said


def test_a_second_hold_of_the_same_shots_names_the_first(floor: Floor) -> None:
    with database.write(floor.engine) as conn:
        first = hold_store.open_holds(conn)[0]
        fields = {name: getattr(first, name) for name in (
            "press_id", "run_id", "alarm_id", "from_shot_id", "to_shot_id", "opened_by", "opened_at",
        )}  # fmt: skip
        hold_store.open_new(conn, {**fields, "reason": "outside the recipe"})
    at = opened()
    at.segmented_control(key="alarms_which").set_value("On hold").run()
    assert f"P2: outside the recipe** (the same discs as hold {first.id})" in text(at)
    assert text(at).count("the same discs") == 1


def test_who_lets_discs_go_reads_what_is_known_of_them_and_which_holds_keep_them(floor: Floor) -> None:
    with database.write(floor.engine) as conn:
        hold = hold_store.open_holds(conn)[0]
        counted = hold_store.extent(
            conn, press_id=hold.press_id, from_shot_id=hold.from_shot_id, to_shot_id=hold.to_shot_id
        )
        other = hold_store.open_new(conn, {
            "press_id": hold.press_id, "run_id": hold.run_id, "alarm_id": None, "from_shot_id": 1,
            "to_shot_id": hold.from_shot_id + 4, "reason": "specks", "opened_by": "operator 1",
            "opened_at": START,
        })  # fmt: skip
    form = text(opened())
    assert f"None of its {counted.discs} discs is gauged." in form
    assert f"On other open holds too: 5 discs on hold {other}." in form
    day = START + timedelta(days=2)
    early = {"site": "lowland", "characteristic": "dome", "unit": "mm", "press": "P2"}
    readings = [
        NewGauging(**early, shot_id=hold.from_shot_id + 1, value=2.4, gauged_at=day),
        NewGauging(**early, shot_id=hold.from_shot_id + 2, value=4.3, gauged_at=day),
        NewGauging(**early, shot_id=hold.from_shot_id + 3, value=4.3, gauged_at=START + timedelta(hours=5)),
        NewGauging(**early, shot_id=hold.from_shot_id - 1, value=4.3, gauged_at=day),
    ]
    with database.write(floor.engine) as conn:
        record(conn, readings, now=day, source="form")
    at = opened()
    assert f"Dome: 2 of {counted.discs} discs gauged, 46." in text(at)
    assert "h after molding, no tolerance is set, 1 too early to count." in text(at)
    at.selectbox(key=f"alarms_hold_who_{hold.id}").select("quality 1")
    at.text_input(key=f"alarms_hold_reason_{hold.id}").input("dome 2.1 mm on 5 discs")
    at.button(key=f"alarms_release_{hold.id}").click().run()
    assert f"Hold {hold.id} is released. 5 discs of it stay on hold {other}." in text(at)


@pytest.mark.parametrize(
    ("low", "high", "outside", "said"),
    [(2.1, 2.8, 1, "1 out of tolerance"), (2.1, None, 0, "none out of tolerance")],
)
def test_readings_of_a_hold_are_held_against_the_tolerance_of_their_mold(
    floor: Floor, low: float, high: float | None, outside: int, said: str
) -> None:
    with database.write(floor.engine) as conn:
        hold = hold_store.open_holds(conn)[0]
        new = NewGauging(
            site="lowland", characteristic="dome", value=4.3, unit="mm", press="P2",
            shot_id=hold.from_shot_id, gauged_at=START + timedelta(days=2),
        )  # fmt: skip
        record(conn, [new], now=START + timedelta(days=2), source="form")
        known = hold_facts.known(conn, hold, {"Larch 5": {"dome": Tolerance(low=low, high=high)}})
    assert known.readings[0].outside == outside
    assert said in known_words(known, 12, START)[0]


def test_levels_before_and_now_have_units(floor: Floor) -> None:
    table = opened().table[0].value
    assert list(table["Characteristic"]) == ["Mold core temperature"]
    assert table["Before"][0] == "31.40 °C"
    assert table["Now"][0].endswith(" °C")
    assert table["Change"][0].startswith("+")


def test_causes_come_with_checks_and_cautions(floor: Floor) -> None:
    said = text(opened())
    assert "Often seen with" in said
    assert "Read the flow indicators of both mold halves." in said
    assert "This is guidance only" in said


def test_events_in_the_half_hour_before_are_listed(floor: Floor) -> None:
    began = START + timedelta(minutes=120)
    with database.write(floor.engine) as conn:
        rows = [
            events.row(
                floor.press.id, "lot", at=began - timedelta(minutes=10), source="t", old="7689", new="7731"
            ),
            events.row(floor.press.id, "stop", at=began - timedelta(hours=1, minutes=50), source="t"),
        ]
        events.insert(conn, rows)
    table = next(one.value for one in opened().table if "From and to" in one.value)
    assert list(table["What"]) == ["Material lot"]
    assert list(table["From and to"]) == ["7689 to 7731"]


def test_acknowledge_then_close_with_a_cause(floor: Floor) -> None:
    number = floor.alarm().id
    at = opened()
    at.selectbox(key="alarms_who").select("operator 2")
    at.text_input(key=f"alarms_ack_note_{number}").input("flow is low")
    at.button(key=f"alarms_ack_{number}").click().run()
    assert not at.exception
    assert f"Alarm {number}: operator 2 has it." in text(at)
    assert floor.alarm().acknowledged_by == "operator 2"

    assert at.selectbox(key="alarms_who").value is None  # the next act may be another person's
    at.selectbox(key="alarms_who").select("operator 2")
    at.selectbox(key=f"alarms_cause_{number}").select("Coolant line blocked or valve closed")
    at.text_input(key=f"alarms_close_note_{number}").input("valve opened")
    at.button(key=f"alarms_close_button_{number}").click().run()
    assert not at.exception
    assert floor.alarms() == []
    assert "No alarm needs a person" in text(at)
    (row,) = floor.rows("alarms")
    assert (row["cause"], row["note"]) == ("Coolant line blocked or valve closed", "valve opened")
    assert len(floor.rows("chart_restarts")) == 1


def test_closing_without_a_cause_is_refused_with_a_sentence(floor: Floor) -> None:
    number = floor.alarm().id
    act.acknowledge(floor.engine, number, who="operator 1", clock=floor.clock)
    at = opened()
    at.selectbox(key="alarms_who").select("operator 1")
    at.button(key=f"alarms_close_button_{number}").click().run()
    assert "An alarm is closed with a cause" in text(at)
    assert len(floor.alarms()) == 1


def test_discs_stay_on_the_list_of_holds_after_their_alarm_is_closed(floor: Floor) -> None:
    number = floor.alarm().id
    act.acknowledge(floor.engine, number, who="operator 1", clock=floor.clock)
    act.close(floor.engine, number, who="operator 1", clock=floor.clock, cause=act.UNKNOWN_CAUSE)
    at = page().run()
    at.segmented_control(key="alarms_which").set_value("On hold").run()
    assert not at.exception
    assert "P2: Mold core" in text(at)
    assert "Set aside trays" in text(at)


def test_discs_are_set_aside_by_hand(floor: Floor) -> None:
    at = page().run()
    at.segmented_control(key="alarms_which").set_value("On hold").run()
    at.selectbox(key="alarms_hand_press").select("P2")
    at.number_input(key="alarms_hand_from").set_value(1_010)
    at.number_input(key="alarms_hand_to").set_value(1_019)
    at.selectbox(key="alarms_hand_who").select("operator 1")
    at.text_input(key="alarms_hand_reason").input("black specks")
    at.button(key="alarms_hand_button").click().run()
    assert not at.exception
    hold = floor.rows("holds")[-1]
    assert (hold["from_shot_id"], hold["to_shot_id"], hold["alarm_id"]) == (11, 20, None)
    assert "10 discs" in text(at)


def test_setting_aside_shots_that_nobody_made_is_refused(floor: Floor) -> None:
    at = page().run()
    at.segmented_control(key="alarms_which").set_value("On hold").run()
    at.selectbox(key="alarms_hand_press").select("P2")
    at.number_input(key="alarms_hand_from").set_value(7)
    at.number_input(key="alarms_hand_to").set_value(9)
    at.selectbox(key="alarms_hand_who").select("operator 1")
    at.text_input(key="alarms_hand_reason").input("black specks")
    at.button(key="alarms_hand_button").click().run()
    assert "P2: this press has no shot 7" in text(at)
    assert len(floor.rows("holds")) == 1


@pytest.mark.parametrize(("button", "state"), [("release", "released"), ("scrap", "scrapped")])
def test_a_hold_is_decided_with_a_reason(floor: Floor, button: str, state: str) -> None:
    (hold,) = floor.rows("holds")
    at = opened()
    at.selectbox(key=f"alarms_hold_who_{hold['id']}").select("quality 1")
    at.text_input(key=f"alarms_hold_reason_{hold['id']}").input("dome 2.1 mm on 5 discs")
    at.button(key=f"alarms_{button}_{hold['id']}").click().run()
    if button == "scrap":
        assert f"discs of hold {hold['id']}? They cannot be had back" in text(at)
        assert floor.rows("holds")[0]["state"] == "open"
        at.button(key=f"alarms_scrap_yes_{hold['id']}").click().run()
    assert not at.exception
    assert floor.rows("holds")[0]["state"] == state
    assert "dome 2.1 mm on 5 discs" in text(at)


def test_who_thinks_better_of_scrapping_leaves_the_discs_on_hold(floor: Floor) -> None:
    (hold,) = floor.rows("holds")
    at = opened()
    at.button(key=f"alarms_scrap_{hold['id']}").click().run()
    assert "Say who does this" in text(at)  # before anything is asked a second time
    at.selectbox(key=f"alarms_hold_who_{hold['id']}").select("quality 1")
    at.text_input(key=f"alarms_hold_reason_{hold['id']}").input("dome 2.1 mm on 5 discs")
    at.button(key=f"alarms_scrap_{hold['id']}").click().run()
    at.button(key=f"alarms_scrap_no_{hold['id']}").click().run()
    assert not at.exception
    assert floor.rows("holds")[0]["state"] == "open"
    assert "cannot be had back" not in text(at)
    assert at.button(key=f"alarms_scrap_{hold['id']}")


def test_a_hold_that_grew_since_the_question_is_not_scrapped_on_the_old_answer(floor: Floor) -> None:
    (hold,) = floor.rows("holds")
    at = opened()
    at.selectbox(key=f"alarms_hold_who_{hold['id']}").select("quality 1")
    at.text_input(key=f"alarms_hold_reason_{hold['id']}").input("dome 2.1 mm on 5 discs")
    at.button(key=f"alarms_scrap_{hold['id']}").click().run()
    floor.make(floor.steady(1, 9, mold_core_temperature=1.2))
    at.button(key=f"alarms_scrap_yes_{hold['id']}").click().run()
    assert f"Hold {hold['id']} has " in text(at)
    assert floor.rows("holds")[0]["state"] == "open"


def test_an_alarm_that_left_the_list_stays_before_whoever_closed_it(six_presses: sa.Engine) -> None:
    at = opened()
    first = at.radio[0].value
    assert first is not None
    act.acknowledge(six_presses, first, who="operator 1", clock=real_clock())
    at.run()
    at.selectbox(key="alarms_who").select("operator 2")
    at.selectbox(key=f"alarms_cause_{first}").select(act.UNKNOWN_CAUSE)
    at.button(key=f"alarms_close_button_{first}").click().run()
    assert not at.exception
    assert at.radio[0].value is None
    assert at.subheader[0].value.startswith("P2: ")
    assert "closed: unknown after checks" in text(at)
    at.radio[0].set_value(only_needed(six_presses)).run()
    assert at.subheader[0].value.startswith("P3: ")


def only_needed(engine: sa.Engine) -> int:
    """Number of the one alarm that still needs a person."""
    with database.read(engine) as conn:
        (found,) = queries.listing(conn, site="lowland", now=FLOOR_NOW).needed
    return found.alarm.id


def test_nobody_is_preset(floor: Floor) -> None:
    number = floor.alarm().id
    at = opened()
    at.button(key=f"alarms_ack_{number}").click().run()
    assert "Say who does this" in text(at)
    assert floor.alarm().acknowledged_by is None


def test_a_hold_without_a_reason_stays(floor: Floor) -> None:
    (hold,) = floor.rows("holds")
    at = opened()
    at.selectbox(key=f"alarms_hold_who_{hold['id']}").select("quality 1")
    at.button(key=f"alarms_release_{hold['id']}").click().run()
    assert "Give the reason" in text(at)
    assert floor.rows("holds")[0]["state"] == "open"


def test_closed_alarms_can_be_read_again(floor: Floor) -> None:
    number = floor.alarm().id
    act.acknowledge(floor.engine, number, who="operator 1", clock=floor.clock)
    act.close(floor.engine, number, who="operator 1", clock=floor.clock, cause=act.UNKNOWN_CAUSE)
    at = page().run()
    at.segmented_control(key="alarms_which").set_value("Closed lately").run()
    assert not at.exception
    assert "closed: unknown after checks" in text(at)
    assert not [one for one in at.button if one.key and "alarms_close" in one.key]


def test_what_asks_most_for_a_person_comes_first(six_presses: sa.Engine) -> None:
    with database.read(six_presses) as conn:
        found = queries.listing(conn, site="lowland", now=FLOOR_NOW)
        elsewhere = queries.listing(conn, site="highland", now=FLOOR_NOW)
    assert [each.press for each in found.needed] == ["P2", "P3"]
    assert found.steady == ("P1", "P4")  # P5 fell silent, P6 made its last shot hours ago
    assert elsewhere.steady == ()
    shown = [line(each.press, each.alarm, _as_is) for each in found.needed]
    assert shown[0].startswith(":yellow-background[◆] **P2: ")
    assert shown[1].startswith(":blue[■] **P3: ")


def test_the_page_reads_every_alarm_of_a_mixed_floor(six_presses: sa.Engine) -> None:
    at = opened()
    for number in at.radio[0].options:
        at.radio[0].set_value(at.radio[0].value).run()
        assert number
        assert not at.exception


def test_the_fingerprint_changes_with_a_step(floor: Floor) -> None:
    with database.read(floor.engine) as conn:
        before = queries.fingerprint(conn)
    floor.make(floor.steady(1, 9))
    act.acknowledge(floor.engine, floor.alarm().id, who="operator 1", clock=floor.clock)
    with database.read(floor.engine) as conn:
        assert queries.fingerprint(conn) != before


def _as_is(moment: datetime) -> datetime:
    return moment


@pytest.mark.parametrize(
    ("event", "what", "from_to"),
    [
        (("setpoint", "cooling_time", 45.0, 36.0), "Setpoint: cooling time", "45.00 s to 36.00 s"),
        (("state", None, "automatic", "stopped"), "Press state", "automatic to stopped"),
        (("gap", None, None, 3), "Missing shots", "3"),
    ],
)
def test_events_in_words(event: tuple[str, str | None, object, object], what: str, from_to: str) -> None:
    kind, key, old, new = event
    row = event_row(EventLine(START, kind, key, old, new, None), _as_is)
    assert (row["What"], row["From and to"], row["Time"]) == (what, from_to, "Mon 06:00")


def test_a_level_that_nobody_knows_is_said_so() -> None:
    assert moved_row(moved("cushion", None, 4.2))["Change"] == "not known"
    assert moved_row(moved("cushion", 6.1, 4.5))["Change"] == "\N{MINUS SIGN}1.6 mm"


def test_local_time_is_used(
    store: sa.Engine, monkeypatch: pytest.MonkeyPatch, seed: Callable[..., None]
) -> None:
    monkeypatch.setenv("EVENRUN_TIME_ZONE", "Asia/Tokyo")
    seed(store, ("P2",))
    with database.read(store) as conn:
        opened_at = queries.listing(conn, site="lowland", now=FLOOR_NOW).needed[0].alarm.opened_at
    assert f"{opened_at.astimezone(UTC) + timedelta(hours=9):%H:%M}" in text_of_radio(opened())


def text_of_radio(at: AppTest) -> str:
    return str(at.radio[0].options)


def test_values_in_doubt_are_a_matter_of_the_data_with_checks_of_their_own(store: sa.Engine) -> None:
    floor = Floor(store, "P2")
    (shot_id,) = floor.make(floor.steady(1))
    floor.in_doubt(shot_id, "mold_core_temperature", "unit_jump", value=88.5, usual=31.4)
    said = text(opened())
    assert "P2: Mold core temperature reads 88.50 °C, usually 31.40 °C: another unit?" in said
    assert "Where to look first" in said
    assert "Mend the unit in the mapping, or at the gateway." in said
    assert "90 % confidence" not in said


def test_a_dome_out_of_tolerance_says_which_disc_and_what_to_gauge_next(store: sa.Engine) -> None:
    floor = Floor(store, "P2")
    ids = floor.make(floor.steady(60))
    reading = NewGauging(
        site="lowland", characteristic="dome", value=4.31, unit="mm", shot_id=ids[30], press="P2",
        gauged_at=START + timedelta(days=2),
    )  # fmt: skip
    with database.write(store) as conn:
        now = START + timedelta(days=2)
        record(conn, [reading], now=now, source="form")
        judge_new(conn, {"Larch 5": {"dome": Bounds(2.1, 2.8)}}, now=now, wall=now)
    at = opened()
    assert "P2: Dome 4.31 mm, allowed 2.10 mm to 2.80 mm; one disc" in text(at)
    assert "gauged, nobody looked yet, discs on hold" in text(at)
    assert "Gauge the disc again" in text(at)
    assert at.table[0].value["Outside by"][0] == "+1.5 mm"
