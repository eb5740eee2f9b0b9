"""What a person does with gaugings: enter, take back, shift a list; each stands in the journal too."""

from datetime import timedelta

import pytest
import sqlalchemy as sa

from collector.actions import gaugings as actions
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.gauging.record import record
from collector.store import database, gaugings, journal, tables
from collector.store.gaugings import Listed
from tests.collector.gauging.floor import DAY, START, dome, make, press, run

WALL = START + 999 * DAY
LIST = Listed("lowland", "R1", "list")
CLOCK = ServiceClock(wall_anchor=WALL, service_anchor=START + 2 * DAY, wall=lambda: WALL)


@pytest.fixture(autouse=True)
def ten_shots(engine):
    with database.write(engine) as conn:
        p1 = press(conn)
        make(conn, p1, run(conn, p1), range(10), trays=["41", "42"])


def entries(engine):
    with database.read(engine) as conn:
        assert journal.verify(conn) == []
        return conn.execute(sa.select(tables.journal).order_by(tables.journal.c.id)).all()


def test_an_entered_reading_is_joined_and_journaled_by_floor_time_and_wall_time(engine):
    done = actions.enter(engine, dome(press="P1", counter=6, gauge="g1"), who="operator 1", clock=CLOCK)
    assert done.state == "joined"
    entry = entries(engine)[-1]
    assert (entry.who, entry.action, entry.subject) == (
        "operator 1", "gauging entered", f"gauging {done.gauging_id}",
    )  # fmt: skip
    assert entry.after == {
        "characteristic": "dome",
        "value": 2.31,
        "unit": "mm",
        "shot": done.shot_id,
        "gauge": "g1",
    }
    assert (entry.at, entry.wall_at) == (START + 2 * DAY, WALL)
    with database.read(engine) as conn:
        row = gaugings.get(conn, done.gauging_id)
    assert (row.who, row.received_at) == ("operator 1", START + 2 * DAY)


def test_the_same_reading_sent_twice_by_a_double_touch_is_journaled_once(engine):
    for _ in range(2):
        actions.enter(engine, dome(press="P1", counter=6), who="operator 1", clock=CLOCK)
    assert len(entries(engine)) == 1


def test_a_withdrawn_reading_is_kept_marked_and_journaled_with_its_value(engine):
    done = actions.enter(engine, dome(press="P1", counter=6), who="operator 1", clock=CLOCK)
    actions.withdraw(engine, done.gauging_id, who="operator 2", clock=CLOCK, why="disc was upside down")
    entry = entries(engine)[-1]
    assert (entry.action, entry.before["value"], entry.why) == (
        "gauging withdrawn",
        2.31,
        "disc was upside down",
    )
    with pytest.raises(NotAllowed, match="withdrawn before"):
        actions.withdraw(engine, done.gauging_id, who="operator 2", clock=CLOCK)
    assert len(entries(engine)) == 2


def test_what_is_not_there_or_named_by_nobody_is_refused_and_leaves_nothing(engine):
    with pytest.raises(NotAllowed, match="There is no gauging 77"):
        actions.withdraw(engine, 77, who="operator 1", clock=CLOCK)
    with pytest.raises(NotAllowed, match="Choose who you are"):
        actions.enter(engine, dome(press="P1", counter=6), who=" ", clock=CLOCK)
    with pytest.raises(NotAllowed, match="no list of gaugings called x"):
        actions.shift_order(engine, Listed("lowland", "R1", "x"), 1, who="operator 1", clock=CLOCK)
    assert entries(engine) == []


def test_a_shifted_list_stands_in_the_journal_with_both_offsets(engine):
    rows = [dome(2 + i / 10, press="P1", run="R1", order_batch="list", order_index=i) for i in range(3)]
    with database.write(engine) as conn:
        before = record(conn, rows, now=START + 2 * DAY, source="file")
    after = actions.shift_order(
        engine, LIST, 1, who="quality 1", clock=CLOCK, why="first disc was scrapped"
    )
    assert [b.shot_id + 1 for b in before] == [a.shot_id for a in after]
    entry = entries(engine)[-1]
    assert (entry.before, entry.after) == ({"run": "R1", "offset": 0}, {"run": "R1", "offset": 1})


def test_a_list_shifted_beyond_its_run_waits_and_can_be_shifted_back(engine):
    rows = [dome(2 + i / 10, press="P1", run="R1", order_batch="list", order_index=i) for i in range(3)]
    with database.write(engine) as conn:
        record(conn, rows, now=START + timedelta(days=2), source="file")
    for offset, states in ((9, ["joined", "waiting", "waiting"]), (-1, ["waiting", "joined", "joined"])):
        outcomes = actions.shift_order(engine, LIST, offset, who="quality 1", clock=CLOCK)
        assert [o.state for o in outcomes] == states
