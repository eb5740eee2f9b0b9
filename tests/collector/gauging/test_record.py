"""Gaugings through the one door: joined by shot, by tray, by order, early, twice, and due ones."""

from datetime import timedelta

import pytest
import sqlalchemy as sa

from collector.gauging import record as door
from collector.gauging.proposal import Why
from collector.store import database, gaugings, holds
from collector.store.discs_due import due
from collector.store.gaugings import Listed
from collector.store.tables import gaugings as table
from tests.collector.gauging.floor import DAY, START, at, dome, make, press, run

NOW = START + 2 * DAY
LIST = Listed("lowland", "R1", "list 1")


@pytest.fixture
def conn(engine):
    with database.write(engine) as connection:
        yield connection


@pytest.fixture
def p1(conn):
    return press(conn)


@pytest.fixture
def r1(conn, p1):
    return run(conn, p1)


def record(conn, *new, source="test"):
    return door.record(conn, new, now=NOW, source=source)


def test_a_gauging_joins_its_shot_by_press_and_counter_and_knows_its_age(conn, p1, r1):
    ids = make(conn, p1, r1, range(10))
    done = record(conn, dome(press="P1", counter=6, gauged_at=at(6) + timedelta(hours=26)))[0]
    assert (done.state, done.shot_id, done.age_h, done.standing) == ("joined", ids[6], 26.0, "final")
    row = gaugings.get(conn, done.gauging_id)
    assert (row.press, row.joined_by, row.counter) == ("P1", "shot", 6)


def test_the_same_gauging_again_changes_nothing_in_one_batch_or_in_two(conn, p1, r1):
    make(conn, p1, r1, range(10))
    first = record(conn, dome(press="P1", counter=6), dome(press="P1", counter=6))
    again = record(conn, dome(press="P1", counter=6, who="operator 2"))
    assert [o.state for o in (*first, *again)] == ["joined", "duplicate", "duplicate"]
    assert {o.gauging_id for o in (*first, *again)} == {first[0].gauging_id}
    assert conn.execute(sa.select(sa.func.count()).select_from(table)).scalar() == 1


def test_a_counter_that_began_anew_means_the_latest_shot_made_before_the_gauging(conn, p1, r1):
    old = make(conn, p1, r1, range(10), epoch=0)
    new = make(conn, p1, r1, range(100, 110), epoch=1, first_counter=0)
    late = record(conn, dome(press="P1", counter=6))[0]
    early = record(conn, dome(press="P1", counter=6, gauged_at=at(50)))[0]
    assert (late.shot_id, early.shot_id) == (new[6], old[6])


def test_a_shot_whose_time_was_computed_joins_but_gives_no_age(conn, p1, r1):
    make(conn, p1, r1, range(10), reconstructed=True)
    done = record(conn, dome(press="P1", counter=6, gauged_at=at(-9999)))[0]
    assert (done.state, done.age_h, done.standing) == ("joined", None, "unknown")


def test_tray_and_position_mean_the_latest_filling_before_the_gauging(conn, p1, r1):
    first = make(conn, p1, r1, range(8), trays=["41", "42"])
    second = make(conn, p1, r1, range(100, 108), trays=["41", "42"])
    before = record(conn, dome(tray="41", position=3, gauged_at=at(60)))[0]
    after = record(conn, dome(tray="41", position=3))[0]
    assert (before.shot_id, after.shot_id) == (first[2], second[2])


def test_a_position_the_latest_filling_has_not_reached_is_not_taken_from_the_one_before(conn, p1, r1):
    make(conn, p1, r1, range(4), trays=["41"])
    make(conn, p1, r1, range(100, 102), trays=["41"])
    done = record(conn, dome(tray="41", position=3))[0]
    assert (done.state, done.shot_id) == ("waiting", None)
    assert "no disc at position 3" in done.reason


def test_a_named_run_decides_between_two_fillings(conn, p1, r1):
    first = make(conn, p1, r1, range(4), trays=["41"])
    make(conn, p1, run(conn, p1, "R2", 90), range(100, 104), trays=["41"])
    assert record(conn, dome(tray="41", position=3, run="R1"))[0].shot_id == first[2]


def test_the_press_that_filled_the_tray_last_is_meant_when_none_is_named(conn, p1, r1):
    make(conn, p1, r1, range(4), trays=["41"])
    p2 = press(conn, "P2")
    other = make(conn, p2, run(conn, p2, "R9"), range(50, 54), trays=["41"])
    assert record(conn, dome(tray="41", position=1))[0].shot_id == other[0]


def test_a_tray_without_a_position_is_kept_with_its_run_and_joined_to_no_disc(conn, p1, r1):
    make(conn, p1, r1, range(4), trays=["41"])
    done = record(conn, dome(tray="41"))[0]
    assert (done.state, done.shot_id, done.standing) == ("tray_only", None, "unknown")
    stored = conn.execute(sa.select(table)).one()
    assert (stored.run_id, stored.press_id, stored.joined_by) == (r1, p1, "tray")


def test_a_list_joins_by_order_and_can_be_shifted(conn, p1, r1):
    ids = make(conn, p1, r1, range(10))
    rows = [dome(2 + i / 10, press="P1", run="R1", order_batch="list 1", order_index=i) for i in range(3)]
    assert [o.shot_id for o in record(conn, *rows)] == ids[:3]
    assert [o.shot_id for o in door.shift_order(conn, LIST, 2)] == ids[2:5]
    assert gaugings.offsets(conn, [LIST]) == {LIST: 2}
    later = dome(9.9, press="P1", run="R1", order_batch="list 1", order_index=3)
    assert record(conn, later)[0].shot_id == ids[5]


def test_lists_of_one_name_are_told_apart_by_their_run(conn, p1, r1):
    """A gauge that writes each week to a file of one name: without a batch the file's name is the list's."""
    first, second = make(conn, p1, r1, range(10)), make(conn, p1, run(conn, p1, name="R2"), range(20, 30))
    old = [dome(2 + i / 10, press="P1", run="R1", order_batch="list 1", order_index=i) for i in range(3)]
    new = [dome(2 + i / 10, press="P1", run="R2", order_batch="list 1", order_index=i) for i in range(3)]
    record(conn, *old)
    door.shift_order(conn, LIST, 4)

    assert [o.shot_id for o in record(conn, *new)] == second[:3]
    assert [o.shot_id for o in door.shift_order(conn, LIST, 5)] == first[5:8]
    assert gaugings.offsets(conn, [LIST, LIST._replace(run="R2")]) == {LIST: 5, LIST._replace(run="R2"): 0}


def test_a_list_longer_than_its_run_waits_at_its_end(conn, p1, r1):
    make(conn, p1, r1, range(2))
    rows = [dome(press="P1", run="R1", order_batch="l", order_index=i) for i in range(3)]
    outcomes = record(conn, *rows)
    assert [o.state for o in outcomes] == ["joined", "joined", "waiting"]
    assert outcomes[2].reason == "the run has no shot at place 3"


@pytest.mark.parametrize(
    "names",
    [
        {"press": "P1", "counter": 6},
        {"tray": "41", "position": 3},
        {"press": "P1", "run": "R1", "order_batch": "l", "order_index": 6},
    ],
    ids=["shot", "tray", "order"],
)
def test_a_gauging_that_comes_before_its_shot_is_kept_and_joined_later(conn, names):
    early = record(conn, dome(**names))[0]
    assert (early.state, early.shot_id) == ("waiting", None)
    p1 = press(conn)
    assert door.join_waiting(conn, p1) == []
    ids = make(conn, p1, run(conn, p1), range(10), trays=["40", "41", "42"])
    done = door.join_waiting(conn, p1)
    assert [(o.gauging_id, o.shot_id) for o in done] == [(early.gauging_id, ids[6])]
    assert done[0].age_h == pytest.approx(48 - 6 / 60)
    assert door.join_waiting(conn, p1) == []


def test_a_disc_mark_alone_is_kept_and_says_what_is_missing(conn):
    done = record(conn, dome(disc_mark="A17"))[0]
    assert done.state == "waiting"
    assert "names no shot" in done.reason


def test_a_withdrawn_gauging_stays_withdrawn_when_its_file_comes_again(conn, p1, r1):
    make(conn, p1, r1, range(10))
    done = record(conn, dome(press="P1", counter=6))[0]
    assert gaugings.withdraw(conn, done.gauging_id, at=NOW)
    assert not gaugings.withdraw(conn, done.gauging_id, at=NOW)
    assert record(conn, dome(press="P1", counter=6))[0].state == "duplicate"
    assert gaugings.get(conn, done.gauging_id).withdrawn_at == NOW


def hold(conn, p1, first, last):
    return holds.open_new(
        conn,
        {"press_id": p1, "from_shot_id": first, "to_shot_id": last, "reason": "test", "opened_by": "service",
         "opened_at": NOW},
    )  # fmt: skip


def test_due_lists_edges_then_the_hold_then_one_control_a_tray(conn, p1, r1):
    ids = make(conn, p1, r1, range(16), trays=["41", "42", "43", "44"])
    hold(conn, p1, ids[4], ids[7])
    todo = due(conn, NOW)
    assert [(p.disc.shot_id, p.why) for p in todo] == [
        (ids[3], Why.EDGE), (ids[4], Why.EDGE), (ids[7], Why.EDGE), (ids[8], Why.EDGE),
        (ids[5], Why.HOLD), (ids[6], Why.HOLD), (ids[0], Why.CONTROL), (ids[12], Why.CONTROL),
    ]  # fmt: skip


def test_a_gauged_disc_is_not_due_again_until_its_reading_is_withdrawn(conn, p1, r1):
    ids = make(conn, p1, r1, range(4), trays=["41"])
    assert [p.disc.shot_id for p in due(conn, NOW)] == [ids[0]]
    done = record(conn, dome(press="P1", counter=2))[0]
    assert due(conn, NOW) == []
    assert [p.disc.shot_id for p in due(conn, NOW, characteristic="diameter")] == [ids[0]]
    gaugings.withdraw(conn, done.gauging_id, at=NOW)
    assert [p.disc.shot_id for p in due(conn, NOW)] == [ids[0]]


def test_a_disc_is_due_from_its_set_time_on_and_is_announced_an_hour_ahead(conn, p1, r1):
    make(conn, p1, r1, range(4), trays=["41"])
    ripe = at(0) + DAY
    assert due(conn, ripe - timedelta(minutes=1)) == []
    ahead = due(conn, ripe - timedelta(minutes=30), within=timedelta(hours=1))
    assert [p.due_at for p in ahead] == [ripe]
    assert [p.is_ripe(ripe) for p in due(conn, ripe)] == [True]


def test_controls_older_than_the_usual_window_are_dropped_but_a_hold_is_never(conn, p1, r1):
    ids = make(conn, p1, r1, range(8), trays=["41", "42"])
    hold(conn, p1, ids[4], ids[4])
    todo = due(conn, START + 10 * DAY)
    assert {p.why for p in todo} == {Why.EDGE}


def test_weight_is_due_at_once(conn, p1, r1):
    ids = make(conn, p1, r1, range(4), trays=["41"])
    assert [p.disc.shot_id for p in due(conn, at(5), characteristic="weight")] == [ids[0]]


def test_discs_whose_time_was_computed_are_never_due(conn, p1, r1):
    make(conn, p1, r1, range(4), trays=["41"], reconstructed=True)
    assert due(conn, NOW) == []
