"""The gauging page as a person with a tablet sees it, and what it reads."""

from datetime import timedelta

import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

from collector.contract import quantities
from collector.gauging import reading
from collector.gauging.model import NewGauging
from collector.gauging.record import record
from collector.store import database, tables
from dashboard.blocks import disc_words, next_disc
from dashboard.queries import gauging as queries
from tests.dashboard.conftest import NOW
from tests.dashboard.gauging_floor import gauge, old_run

PAGE = "../../dashboard/app_pages/gauging.py"
FIELD = next_disc.FIELD


@pytest.fixture
def ids(store, seed):
    """Shots of a run of P2 that ended 40 h ago with 36 discs on hold, beside two live presses."""
    seed(store)
    return old_run(store, NOW)


@pytest.fixture
def page(ids):
    return opened()


def opened():
    """The page with the operator's name chosen."""
    at = AppTest.from_file(PAGE, default_timeout=20).run()
    return at.selectbox(key="gauging_who").select("operator 1").run()


def enter(page, text):
    page.text_input(key=FIELD).set_value(text)
    return page.button(key="FormSubmitter:gauging_form-Save, next disc").click().run()


def shown(page):
    return " ".join(each.proto.body for each in page.get("html"))


def said(page):
    return [each.value for each in (*page.error, *page.info)]


def stored(store):
    with database.read(store) as conn:
        return conn.execute(
            sa.select(tables.gaugings).where(tables.gaugings.c.characteristic == "dome")
        ).all()


def test_the_first_disc_is_the_edge_of_the_hold_in_big_letters(page):
    assert not page.exception
    assert "Edge of a hold: shows where it really ends" in shown(page)
    assert "Tray 72, position 20" in shown(page)
    assert "P2 \u00b7 shot 60 \u00b7 Larch 5 \u00b7 molded 41 h ago" in shown(page)


def test_value_and_enter_store_the_reading_and_show_the_next_disc(page, store, ids):
    enter(page, "2,31")
    assert said(page) == ["Tray 72, position 20: 2.31 mm saved."]
    assert "Tray 73, position 1" in shown(page)
    assert page.text_input(key=FIELD).value == ""
    row = stored(store)[0]
    assert (row.shot_id, row.value, row.who, row.gauge) == (ids[59], 2.31, "operator 1", "height gauge 1")
    assert row.age_h == pytest.approx(41, abs=0.2)


@pytest.mark.parametrize("typed", ["", "abc", "2.3.1", "231"])
def test_nonsense_is_refused_in_a_sentence_and_what_was_typed_stays(page, store, typed):
    enter(page, typed)
    assert len(page.error) == 1
    assert page.error[0].value.endswith(".")
    assert page.text_input(key=FIELD).value == typed
    assert stored(store) == []


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        ("-2.3", "-2.30 mm is below zero, which is unusual for dome."),
        ("23.1", "23.10 mm is far outside this mold's tolerance for dome (2.40 to 3.05 mm)."),
    ],
)  # fmt: skip
def test_a_reading_that_looks_mistyped_is_asked_about_once_and_kept_when_entered_again(
    ids, store, tmp_path, typed, asked
):
    if typed == "23.1":
        (tmp_path / "evenrun.toml").write_text('[tolerance."Larch 5".dome]\nlow = 2.4\nhigh = 3.05\n')
    page = opened()
    enter(page, typed)
    words = f"Tray 72, position 20: {asked} Enter again to keep it, or type it anew."
    assert [each.value for each in page.warning] == [words]
    assert page.text_input(key=FIELD).value == typed
    assert stored(store) == []
    enter(page, typed)
    assert not page.warning
    assert [row.value for row in stored(store)] == [float(typed)]


def test_a_reading_that_was_asked_about_and_typed_right_is_kept_at_once(page, store):
    enter(page, "-2.31")
    enter(page, "2.31")
    assert [row.value for row in stored(store)] == [2.31]


def test_a_bad_disc_is_no_typing_error():
    assert reading.doubt(3.6, "dome", low=2.4, high=3.05) == ""
    assert reading.doubt(1.8, "dome", low=2.4, high=3.05) == ""
    assert reading.doubt(3.8, "dome", low=2.4, high=3.05) != ""
    assert reading.doubt(2.31, "dome", low=2.4, high=None) == ""


def test_undo_takes_the_entry_back_and_brings_its_disc_again(page, store):
    enter(page, "2.31")
    undo = next(button for button in page.button if button.label == "Undo")
    undo.click().run()
    assert "Tray 72, position 20" in shown(page)
    assert said(page) == ["Tray 72, position 20: 2.31 mm is taken back; the disc can be gauged again."]
    assert stored(store)[0].withdrawn_at is not None
    assert any("taken back" in text.value for text in page.markdown)


def test_a_skipped_disc_gives_way_to_the_next_and_comes_back_when_asked(page):
    next(button for button in page.button if button.label == "Skip this disc").click().run()
    assert "Tray 73, position 1" in shown(page)
    next(button for button in page.button if button.label == "Bring back 1 skipped").click().run()
    assert "Tray 72, position 20" in shown(page)


def choose(page, *, by="Tray and position", press=None, tray="", number=None):
    page.radio[0].set_value(by)
    page.selectbox[2].set_value(press)
    page.text_input[-1].set_value(tray)
    page.number_input[0].set_value(number)
    return page.button(key="FormSubmitter:gauging_choice-Show this disc").click().run()


def test_any_disc_can_be_chosen_by_tray_or_by_shot(page):
    choose(page, tray="71", number=7)
    assert "Chosen by hand" in shown(page)
    assert "shot 27" in shown(page)
    choose(page, by="Press and shot", press="P1", number=930)
    assert "P1 \u00b7 shot 930" in shown(page)


def test_a_disc_too_young_for_a_final_reading_says_so_and_is_stored_as_provisional(page):
    choose(page, by="Press and shot", press="P1", number=930)
    assert any("set time of 24 h" in text.value for text in page.markdown)
    enter(page, "2.0")
    assert said(page)[0].endswith("2.00 mm saved, provisional.")


def test_a_disc_that_is_not_there_is_answered_in_a_sentence(page):
    choose(page, tray="99", number=1)
    assert [each.value for each in page.error] == ["No disc in tray 99 has arrived."]


def test_another_characteristic_asks_for_its_own_unit_and_keeps_its_own_list(page):
    page.segmented_control(key="gauging_characteristic").set_value("weight").run()
    assert page.text_input(key=FIELD).label == "Weight in g, then Enter"


def test_with_nothing_due_the_page_says_what_will_come(store, seed):
    seed(store, ())
    page = opened()
    assert not page.exception
    assert page.subheader[0].value == "Nothing is due"
    assert any("has no disc to go to" in each.value for each in page.markdown)


def test_a_list_joined_by_order_shows_its_first_shot_and_can_be_shifted(store, seed):
    seed(store)
    old_run(store, NOW)
    new = [
        NewGauging(
            site="lowland", press="P2", run="R-0401", characteristic="dome", value=2.0 + i / 10, unit="mm",
            order_batch="bench.csv", order_index=i,
        )
        for i in range(5)
    ]  # fmt: skip
    with database.write(store) as conn:
        record(conn, new, now=NOW, source="file")
    page = opened()
    assert any("The first belongs to shot 1 of P2" in text.value for text in page.markdown)
    page.number_input(key="gauging_offset_lowland_R-0401_bench.csv").set_value(2).run()
    page.button(key="gauging_shift_lowland_R-0401_bench.csv").click().run()
    assert any("The first belongs to shot 3 of P2" in text.value for text in page.markdown)


def test_the_floor_counts_what_the_page_calls_due_now(store, ids):
    with database.read(store) as conn:
        for quarters in range(-12, 12):
            at = NOW + timedelta(hours=quarters / 4)
            listed = queries.to_gauge(conn, at, characteristic="dome")
            assert queries.due_count(conn, at) == sum(each.due_at <= at for each in listed)
        assert len(queries.to_gauge(conn, NOW, characteristic="dome")) > 0


def test_due_count_counts_what_has_ripened(store, seed):
    seed(store, ())
    old_run(store, NOW, hours=22.5)
    with database.read(store) as conn:
        now_due = queries.due_count(conn, NOW - timedelta(hours=1.5))
        later = queries.due_count(conn, NOW)
    assert now_due < later


def test_everything_the_page_reads_is_the_same_on_both_databases(engine, seed):
    seed(engine)
    ids = old_run(engine, NOW)
    with database.write(engine) as conn:
        row = NewGauging(
            site="lowland", press="P2", run="R-0401", characteristic="diameter", value=211.0, unit="mm",
            order_batch="b", order_index=3,
        )  # fmt: skip
        record(conn, [row], now=NOW, source="file")
    with database.read(engine) as conn:
        assert queries.to_gauge(conn, NOW, characteristic="dome")[0].shot_id == ids[59]
        assert queries.order_lists(conn)[0].first_counter == 4
        assert queries.gauged_since(conn, NOW - timedelta(hours=8), characteristic="diameter") == 1
        assert queries.press_names(conn, "lowland") == ["P1", "P2"]


def test_due_discs_fall_as_they_are_gauged(store, ids):
    with database.read(store) as conn:
        before = queries.due_count(conn, NOW)
    gauge(store, ids, NOW, every=1)
    with database.read(store) as conn:
        assert queries.due_count(conn, NOW) < before


def test_the_card_escapes_what_a_message_named():
    html = next_disc.card("square", "On hold", "Tray <b>1</b>", "P1", dark=False)
    assert "<b>" not in html
    assert "&lt;b&gt;" in html


@pytest.mark.parametrize(
    ("age", "words"),
    [(None, "molded at an unknown time"), (0.5, "molded 30 min ago"), (26.2, "molded 26 h ago"),
     (120.0, "molded 5 days ago")],
)  # fmt: skip
def test_ages_are_said_in_a_unit_that_fits(age, words):
    assert disc_words.age_words(age) == words


def test_every_disc_characteristic_is_offered(page):
    offered = page.segmented_control(key="gauging_characteristic").options
    assert offered == [row.label for row in quantities.QUANTITIES if "disc" in row.applies_to]
