"""From an alarm in the store to messages to people, and what becomes of a channel that fails."""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random
from threading import Barrier
from typing import Any

import pytest
import sqlalchemy as sa

from collector.alarms.deliver import Courier
from collector.alarms.notifying import tell_people
from collector.clock import ServiceClock
from collector.errors import DeliveryError, MaybeSent
from collector.settings import Settings
from collector.settings_delivery import MessageChannel
from collector.store import alarms as alarm_store
from collector.store import channels, database, journal, outbox, tables

NOW = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
MOVED = {"key": "cushion", "single": False}


def phone(name: str = "phone", *roles: str) -> MessageChannel:
    return MessageChannel(name=name, url="json://localhost", roles=roles or ("operator",))  # type: ignore[arg-type]


SETTINGS = Settings(channels=(phone(), phone("technicians", "technician")))


def clock(after_min: float = 0) -> ServiceClock:
    now = NOW + timedelta(minutes=after_min)
    return ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: now)


@pytest.fixture
def alarm_id(engine: sa.Engine) -> int:
    """An alarm of P1 that nobody has yet."""
    with database.write(engine) as conn:
        press_id = conn.execute(
            sa.insert(tables.presses).values(site="lowland", name="P1").returning(tables.presses.c.id)
        ).scalar_one()
        number = alarm_store.open_new(conn, {
            "press_id": press_id, "kind": "process", "state": "active_unacknowledged", "opened_at": NOW,
            "changed_at": NOW, "quiet_shots": 0, "characteristics": [MOVED],
            "headline": "Cushion 1.2 mm lower", "causes": [{"cause": "Worn check ring"}],
        })  # fmt: skip
        alarm_store.add_step(
            conn, number, at=NOW, event="occur", before="normal", after="active_unacknowledged"
        )
    return number


def tell(engine: sa.Engine, *, after_min: float = 0, settings: Settings = SETTINGS) -> int:
    return tell_people(engine, settings, clock(after_min))


def messages(engine: sa.Engine) -> Sequence[Any]:
    with database.read(engine) as conn:
        return channels.recent(conn, last=100)[::-1]


def deliver(engine: sa.Engine, name: str, error: Exception | None = None) -> int:
    class Phone:
        def send(self, topic: str, payload: str, *, retain: bool) -> None:
            if error is not None:
                raise error

    return Courier(
        engine=engine, channels={name: Phone()}, clock=clock(), worker="w", random=Random(1),
        elsewhere=None, most=1,
    ).deliver()  # fmt: skip


def change(engine: sa.Engine, alarm_id: int, **values: Any) -> None:
    with database.write(engine) as conn:
        alarm_store.change(conn, alarm_id, values)


def test_a_new_alarm_is_told_once_with_what_a_person_needs(engine: sa.Engine, alarm_id: int) -> None:
    assert [tell(engine), tell(engine), tell(engine, after_min=9)] == [1, 0, 0]
    (one,) = messages(engine)
    said = json.loads(one.payload)
    assert (one.channel, one.topic) == ("phone", f"alarm {alarm_id}")
    assert said["title"] == "P1: Cushion 1.2 mm lower"
    assert "Worn check ring" in said["body"]
    assert "changes nothing at a press" in said["body"]


def test_a_cause_that_its_own_evidence_contradicts_is_not_named(engine: sa.Engine, alarm_id: int) -> None:
    reason = "Fits: peak melt pressure higher. Does not fit: barrel temperature unchanged."
    change(engine, alarm_id, causes=[{"cause": "A heater band is open", "reason": reason}])
    tell(engine)
    assert "Often seen with" not in json.loads(messages(engine)[0].payload)["body"]


def test_times_are_those_of_the_shop(engine: sa.Engine, alarm_id: int) -> None:
    tell(engine, settings=SETTINGS.model_copy(update={"time_zone": "Asia/Tokyo"}))
    assert "Since Mon 15:00." in json.loads(messages(engine)[0].payload)["body"]


def test_an_alarm_that_nobody_takes_goes_to_the_next_role(engine: sa.Engine, alarm_id: int) -> None:
    tell(engine)
    assert tell(engine, after_min=10) == 1
    assert [one.channel for one in messages(engine)] == ["phone", "technicians"]


def test_an_acknowledged_alarm_is_told_to_nobody_and_unsent_messages_are_taken_back(
    engine: sa.Engine, alarm_id: int
) -> None:
    tell(engine)
    change(engine, alarm_id, state="active_acknowledged", acknowledged_at=NOW, acknowledged_by="operator 1")
    assert tell(engine, after_min=60) == 0
    assert [one.state for one in messages(engine)] == ["superseded"]
    assert deliver(engine, "phone") == 0


@pytest.mark.parametrize("state", ["shelved", "suppressed_by_design", "out_of_service"])
def test_what_is_kept_quiet_is_told_to_nobody(engine: sa.Engine, alarm_id: int, state: str) -> None:
    change(engine, alarm_id, state=state)
    assert tell(engine, after_min=60) == 0


def test_an_alarm_that_comes_again_is_told_again(engine: sa.Engine, alarm_id: int) -> None:
    tell(engine)
    with database.write(engine) as conn:
        alarm_store.add_step(
            conn, alarm_id, at=NOW, event="reoccur", before="normal", after="active_unacknowledged"
        )
    assert tell(engine, after_min=1) == 1
    assert json.loads(messages(engine)[1].payload)["title"].endswith("(grew)")


def test_two_collectors_tell_it_once(engine: sa.Engine, alarm_id: int) -> None:
    together = Barrier(4)

    def collector(_: int) -> int:
        together.wait()
        return tell(engine)

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(collector, range(4))) == 1
    assert len(messages(engine)) == 1


@pytest.mark.parametrize(("subject", "told"), [("broker:127.0.0.1:1883", 1), ("job:backup", 0), ("press", 0)])
def test_a_broker_that_is_away_is_of_high_priority(
    engine: sa.Engine, alarm_id: int, subject: str, told: int
) -> None:
    change(engine, alarm_id, kind="silence", subject=subject, characteristics=[])
    picky = phone().model_copy(update={"priorities": ("high",)})
    assert tell(engine, settings=Settings(channels=(picky,))) == told


def test_without_channels_nothing_is_read_or_written(engine: sa.Engine, alarm_id: int) -> None:
    assert tell(engine, settings=Settings()) == 0
    assert list(messages(engine)) == []


def test_a_permanent_error_switches_the_channel_off_visibly(engine: sa.Engine, alarm_id: int) -> None:
    tell(engine)
    deliver(engine, "phone", DeliveryError("the receiver answered 401", permanent=True))
    with database.read(engine) as conn:
        state = channels.states(conn)["phone"]
        (entry,) = conn.execute(sa.select(tables.journal)).all()
        assert journal.verify(conn) == []
    assert state.disabled_at == NOW
    assert state.disabled_why == "the receiver answered 401"
    assert (entry.who, entry.action, entry.subject) == ("service", "channel off", "channel phone")


def test_while_a_channel_is_off_its_alarms_go_to_the_next_role(engine: sa.Engine, alarm_id: int) -> None:
    with database.write(engine) as conn:
        channels.disable(conn, "phone", wall=NOW, why="401")
    assert tell(engine) == 1
    assert messages(engine)[0].channel == "technicians"


def test_a_channel_that_is_on_again_is_told_what_it_missed(engine: sa.Engine, alarm_id: int) -> None:
    tell(engine)
    with database.write(engine) as conn:
        channels.disable(conn, "phone", wall=NOW, why="401")
        channels.enable(conn, "phone")
    assert [one.state for one in messages(engine)] == ["failed"]
    assert tell(engine) == 1


def test_what_may_have_arrived_is_not_sent_again(engine: sa.Engine, alarm_id: int) -> None:
    tell(engine)
    deliver(engine, "phone", MaybeSent("no answer within 20 s"))
    assert deliver(engine, "phone") == 0
    assert [(one.state, one.last_error) for one in messages(engine)] == [
        ("maybe_sent", "no answer within 20 s")
    ]
    assert tell(engine, after_min=5) == 0


def test_a_claim_on_another_machine_that_died_becomes_maybe_sent_after_a_minute(
    engine: sa.Engine, alarm_id: int
) -> None:
    tell(engine)
    (one,) = messages(engine)
    with database.write(engine) as conn:
        outbox.claim(conn, one.id, worker="elsewhere:1", wall=NOW, stale_before=NOW)
        outbox.add(conn, channel="phone", topic="test", payload="{}", retain=False, wall=NOW, once=True)
    late = Courier(
        engine=engine, channels={"phone": _Silent()}, clock=clock(2), worker="w", random=Random(1),
        elsewhere=None, most=1,
    )  # fmt: skip
    late.deliver()
    assert [each.state for each in messages(engine)] == ["maybe_sent", "sent"]


def test_a_retained_state_that_was_overtaken_is_not_taken_up_again(engine: sa.Engine) -> None:
    with database.write(engine) as conn:
        old = outbox.add(conn, channel="mqtt", topic="t", payload="old", retain=True, wall=NOW)
        outbox.claim(conn, old, worker="dead", wall=NOW, stale_before=NOW)
        outbox.add(conn, channel="mqtt", topic="t", payload="new", retain=True, wall=NOW)
        outbox.take_back(conn, "dead", wall=NOW)
    assert [one.state for one in messages(engine)] == ["superseded", "waiting"]


def test_a_channel_elsewhere_is_left_to_its_own_courier(engine: sa.Engine, alarm_id: int) -> None:
    tell(engine)
    main = Courier(
        engine=engine, channels={}, clock=clock(), worker="w", random=Random(1), elsewhere=("phone",)
    )
    assert main.deliver() == 0
    assert replace(main, elsewhere=()).deliver() == 0
    assert [one.last_error for one in messages(engine)] == ["no channel is called phone"]


class _Silent:
    def send(self, topic: str, payload: str, *, retain: bool) -> None:
        """Taken."""
