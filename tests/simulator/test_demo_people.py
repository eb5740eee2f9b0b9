"""The demo's people do only what the table of roles lets them, and know a day later what went wrong."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
import sqlalchemy as sa

from collector.actions import people as accounts
from collector.cli.terminal import acting
from collector.clock import ServiceClock
from collector.people.roles import ACTS
from collector.store import database
from collector.store.tables import alarms, presses
from simulator import demo_live, demo_people
from simulator.demo_people import CAUSES, UNKNOWN, People, Tolerance
from tests.dashboard.audit import floor

BEGAN = floor.START + (floor.WARM.start - floor.FIRST) * floor.CYCLE
BLOCKED = SimpleNamespace(
    fault="blocked_coolant_core", press="P2", start=BEGAN, end=BEGAN + len(floor.WARM) * floor.CYCLE
)


@pytest.fixture
def told(tmp_path, monkeypatch):
    """A store with an alarm of a gauging over shots of the fault, and what the people ask the actions for."""
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path)
    asked: list[tuple[str, dict]] = []
    for module, names in ((demo_people.alarm_actions, ("acknowledge", "close")),
                          (demo_people.hold_actions, ("release", "scrap"))):  # fmt: skip
        for name in names:
            monkeypatch.setattr(module, name, lambda *_, name=name, **more: asked.append((name, more)))
    people = People(engine, lambda _: [BLOCKED], {"P2": Tolerance(2.2, 3.0)}, unwatched=BLOCKED)
    yield engine, people, asked
    engine.dispose()


def standing(at: datetime) -> ServiceClock:
    return ServiceClock(wall_anchor=at, service_anchor=at, wall=lambda: at)


def test_an_alarm_of_a_gauging_is_answered_with_the_cause_of_its_shots(told):
    engine, people, asked = told
    with engine.begin() as conn:
        shot = conn.execute(sa.text("select min(id) from shots where counter = 660")).scalar_one()
        a_day_later = BEGAN + timedelta(hours=26)
        conn.execute(sa.update(alarms).values(
            kind="gauging", state="normal", first_shot_id=shot, opened_at=a_day_later, changed_at=a_day_later,
        ))  # fmt: skip
    with database.read(engine) as conn:
        assert conn.execute(sa.select(presses.c.name)).scalars().all() == ["P2"]
    people.act(standing(a_day_later + timedelta(hours=1)))
    closed = [more for name, more in asked if name == "close"]
    assert closed
    assert {more["cause"] for more in closed} == {CAUSES["blocked_coolant_core"][0]}
    assert UNKNOWN[0] not in {more["cause"] for more in closed}


@pytest.mark.parametrize("opened", [BEGAN + timedelta(minutes=5), BEGAN - timedelta(minutes=5)])
@pytest.mark.parametrize("outside", [0, 1])
def test_holds_are_decided_by_people_whom_the_table_of_roles_lets(told, monkeypatch, opened, outside):
    _, people, asked = told
    monkeypatch.setattr(People, "_gauged", lambda *_: (10, outside))
    hold = SimpleNamespace(id=1, name="P2", press_id=1, opened_at=opened, ended_at=opened)
    people._decide(hold, BEGAN + timedelta(hours=40), standing(datetime(2026, 3, 4, tzinfo=UTC)))
    ((name, more),) = asked
    act = ACTS["hold released" if name == "release" else "hold scrapped"]
    assert more["who"].split()[0] in act.roles


def test_after_the_first_account_the_invented_people_stop_and_say_so(told, monkeypatch):
    engine, people, asked = told
    monkeypatch.setattr(demo_live, "PEOPLE_S", 0.01)
    clock, said = standing(BEGAN + timedelta(days=2)), []
    accounts.add(engine, "admin 1", ["admin"], who=acting(engine, ""), clock=clock)
    alone = demo_live.LivePeople(people, clock, tell=said.append)
    alone.start()
    alone._thread.join(timeout=30)
    alone.stop()
    assert said == [demo_live.ACCOUNTS]
    assert not asked
