"""What is told once a shift or so, and what the service checks of itself."""

from __future__ import annotations

import json
from datetime import UTC, datetime, time, timedelta
from random import Random
from typing import Any

import pytest
import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract.refusal import Refusal
from collector.errors import UserError
from collector.jobs import self_check
from collector.jobs.gauging_due import look
from collector.jobs.job import Shop
from collector.jobs.self_check import ClockWatch, check
from collector.jobs.shift_summary import summarize
from collector.settings import Settings
from collector.settings_collector import Collector
from collector.settings_delivery import MessageChannel, Shift
from collector.store import channels, database, refusals, reports, tables
from collector.vitals import Vitals
from tests.store_fixtures import STARTED, Seeded

EARLY = Shift(name="early", begins=time(6), ends=time(14))
LATE = Shift(name="late", begins=time(14), ends=time(22))
OFFICE = MessageChannel(name="office", url="json://localhost", tell=("shift_summary", "gauging_due"))  # type: ignore[arg-type]
SETTINGS = Settings(shifts=(EARLY, LATE), channels=(OFFICE,))
NOON = datetime(2026, 11, 24, 15, 0, tzinfo=UTC)


def shop(engine: sa.Engine, *, at: datetime = NOON, settings: Settings = SETTINGS) -> Shop:
    clock = ServiceClock(wall_anchor=at, service_anchor=at, wall=lambda: at)
    vitals = Vitals(at, broker=lambda: None, protocol=lambda: "5", in_hand=lambda: 0)
    return Shop(
        engine=engine, settings=settings, clock=clock, random=Random(1), vitals=vitals,
        deliver_soon=lambda: None,
    )  # fmt: skip


def told(engine: sa.Engine) -> list[dict[str, str]]:
    with database.read(engine) as conn:
        return [json.loads(row.payload) for row in channels.recent(conn, last=100)[::-1]]


def test_a_shift_that_ended_is_summed_up_once(seeded: Seeded) -> None:
    assert summarize(shop(seeded.engine)) == "summed up early Tue 2026-11-24"
    assert summarize(shop(seeded.engine, at=NOON + timedelta(minutes=5))) is None
    (one,) = told(seeded.engine)
    assert one["title"] == "Shift early Tue 2026-11-24"
    assert one["body"].splitlines()[0] == "100 shots: P1 100", "shots from 10:00 to 11:39, one a minute"
    assert "0 alarms, 0 of them still without a cause" in one["body"]


def test_shifts_that_ended_while_no_collector_ran_are_made_up(seeded: Seeded) -> None:
    summarize(shop(seeded.engine))
    assert summarize(shop(seeded.engine, at=NOON + timedelta(days=1))) == (
        "summed up late Tue 2026-11-24, early Wed 2026-11-25"
    )
    assert "0 shots" in told(seeded.engine)[2]["body"]


def test_after_a_long_pause_a_week_of_shifts_is_made_up_and_no_more(seeded: Seeded) -> None:
    summarize(shop(seeded.engine))
    summarize(shop(seeded.engine, at=NOON + timedelta(days=60)))
    assert len(told(seeded.engine)) == 1 + 14


def test_a_summary_counts_what_happened_in_its_shift_only(seeded: Seeded) -> None:
    with database.write(seeded.engine) as conn:
        for hour, closed in ((9, None), (11, None), (12, NOON), (14, None)):
            conn.execute(sa.insert(tables.alarms).values(
                press_id=seeded.press_id, kind="process", state="active_unacknowledged",
                opened_at=datetime(2026, 11, 24, hour, tzinfo=UTC), changed_at=NOON, quiet_shots=0,
                characteristics=[], headline=f"Cushion low <b>{hour}</b>", closed_at=closed,
            ))  # fmt: skip
    shifts = (replace_begin(EARLY, time(10)),)
    summarize(shop(seeded.engine, settings=SETTINGS.model_copy(update={"shifts": shifts})))
    (one,) = told(seeded.engine)
    assert "2 alarms, 1 of them still without a cause" in one["body"]
    assert "- P1: Cushion low <b>11</b>, still without a cause" in one["body"]


def test_a_summary_counts_what_happened_at_its_own_site_only(seeded: Seeded) -> None:
    """The other site of the store has one of everything; the counts are those of the rows written here."""
    at = datetime(2026, 11, 24, 12, tzinfo=UTC)
    with database.write(seeded.engine) as conn:
        far = conn.execute(sa.insert(tables.presses).values(site="upland", name="P1")).inserted_primary_key
        assert far is not None
        for where in ({"press_id": far[0]}, {"site": "upland"}, {"site": "lowland"}):
            conn.execute(sa.insert(tables.alarms).values(
                kind="silence", state="active_unacknowledged", opened_at=at, changed_at=at, quiet_shots=0,
                characteristics=[], headline=f"Of {where}", **where,
            ))  # fmt: skip
        conn.execute(sa.insert(tables.holds).values(
            press_id=far[0], from_shot_id=seeded.shot_ids[0], state="open", reason="r", opened_by="service",
            opened_at=at,
        ))  # fmt: skip
        conn.execute(sa.insert(tables.gaugings).values(
            characteristic="dome", value=2.7, unit="mm", gauged_at=at, received_at=at, site="upland",
            source="form", identity=b"1",
        ))  # fmt: skip
        for topic in ("evenrun/1/upland/P1/shot", "evenrun/1/lowland/P1/shot", "spBv1.0/g/DDATA/n/d", None):
            refusals.keep(conn, Refusal(
                reason="not_json", detail="d", remedy="r", raw=b"{", source="mqtt", position=str(topic),
                topic=topic, received_at=at,
            ))  # fmt: skip

    summarize(shop(seeded.engine))

    (one,) = told(seeded.engine)
    assert one["body"].splitlines() == [
        "100 shots: P1 100",
        "1 alarm, 1 of them still without a cause",
        "- Service: Of {'site': 'lowland'}, still without a cause",
        "0 holds open now, 0 gaugings made",
        "3 messages could not be read; the Service page lists them",
    ]


def test_each_site_of_a_store_is_told_of_its_own_shift(seeded: Seeded) -> None:
    upland = SETTINGS.model_copy(update={"site": "upland"})
    for settings in (SETTINGS, upland, SETTINGS, upland):
        summarize(shop(seeded.engine, settings=settings))
    assert [one["body"].splitlines()[0] for one in told(seeded.engine)] == ["100 shots: P1 100", "0 shots"]


def test_what_was_told_before_reports_named_their_site_is_not_told_again(seeded: Seeded) -> None:
    summarize(shop(seeded.engine))
    with database.write(seeded.engine) as conn:
        conn.execute(sa.update(tables.reports).values(site=None))
    assert summarize(shop(seeded.engine)) is None


def replace_begin(shift: Shift, begins: time) -> Shift:
    return shift.model_copy(update={"begins": begins})


def test_without_shifts_it_says_so(engine: sa.Engine) -> None:
    assert summarize(shop(engine, settings=Settings())) == "no shifts are set"


def hold(seeded: Seeded) -> None:
    with database.write(seeded.engine) as conn:
        conn.execute(sa.insert(tables.holds).values(
            press_id=seeded.press_id, from_shot_id=seeded.shot_ids[20], to_shot_id=seeded.shot_ids[40],
            state="open", reason="r", opened_by="service", opened_at=STARTED,
        ))  # fmt: skip


def test_discs_on_hold_that_come_due_are_told_of_at_most_every_four_hours(seeded: Seeded) -> None:
    hold(seeded)
    assert look(shop(seeded.engine, at=STARTED + timedelta(hours=2))).startswith("0 discs are due")
    ripe = STARTED + timedelta(hours=26)  # dome counts as final after 24 h
    said = look(shop(seeded.engine, at=ripe))
    look(shop(seeded.engine, at=ripe + timedelta(hours=1)))
    assert len(told(seeded.engine)) == 1
    assert told(seeded.engine)[0]["body"] == f"{said}: hold 1. The Gauging page says which disc next."
    look(shop(seeded.engine, at=ripe + timedelta(hours=5)))
    assert len(told(seeded.engine)) == 2


def test_a_site_is_told_of_its_own_discs_only(seeded: Seeded) -> None:
    hold(seeded)
    upland = SETTINGS.model_copy(update={"site": "upland"})
    said = look(shop(seeded.engine, at=STARTED + timedelta(hours=26), settings=upland))
    assert said == "0 discs are due for gauging, 0 of them on hold or beside a hold"
    assert told(seeded.engine) == []


def test_a_report_reaches_no_channel_that_is_off(seeded: Seeded) -> None:
    with database.write(seeded.engine) as conn:
        channels.disable(conn, "office", wall=NOON, why="401")
    summarize(shop(seeded.engine))
    assert told(seeded.engine) == []
    with database.read(seeded.engine) as conn:
        assert len(reports.newest(conn, SETTINGS.site, reports.SHIFT_SUMMARY, last=5)) == 1


@pytest.fixture(autouse=True)
def fresh_watch(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(self_check, "_watch", ClockWatch())


def test_the_self_check_finds_nothing_wrong(engine: sa.Engine) -> None:
    now = datetime.now(UTC)
    assert "clocks agree" in check(shop(engine, at=now))


def test_a_disk_that_is_nearly_full_fails_the_self_check(tmp_path: Any) -> None:
    engine = database.open_engine(f"sqlite:///{tmp_path / 'evenrun.db'}")
    settings = Settings(collector=Collector(least_free_mb=10**9))  # a petabyte
    with pytest.raises(UserError, match="make room"):
        check(shop(engine, at=datetime.now(UTC), settings=settings))
    engine.dispose()


def test_a_clock_that_was_set_fails_the_self_check_once(engine: sa.Engine) -> None:
    if engine.dialect.name == "postgresql":
        with pytest.raises(UserError, match="the clock of the database is"):
            check(shop(engine, at=datetime.now(UTC) + timedelta(minutes=5)))
        return
    check(shop(engine))
    with pytest.raises(UserError, match=r"set by \+3600\.0 s"):
        check(shop(engine, at=NOON + timedelta(hours=1)))
    check(shop(engine, at=NOON + timedelta(hours=1)))


def test_a_clock_that_runs_with_the_monotonic_one_was_not_set() -> None:
    watch = ClockWatch()
    watch.stepped(NOON, 100.0)
    assert watch.stepped(NOON + timedelta(seconds=60), 160.0) == timedelta(0)
    assert watch.stepped(NOON + timedelta(seconds=30), 170.0) == timedelta(seconds=-40)
