"""What is deleted from a store is old and told of nothing but deliveries and guesses. On both databases."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
import sqlalchemy as sa

from collector.errors import NotAllowed
from collector.jobs.forgetting import forget
from collector.people import sign_in
from collector.people.attempts import PINS_UNTIL_OFF, Kind
from collector.settings_keeping import Retention
from collector.store import database, forgetting, outbox, people, reports, tables
from tests.collector.keeping.test_keeping_jobs import WALL, shop

OLD, NEW = WALL - timedelta(days=31), WALL - timedelta(days=29)
NAME = "operator 1"
MONTH = Retention(delivered_days=30, attempts_days=30)


def message(conn: sa.Connection, topic: str, state: str, at: datetime, *, once: bool = False) -> int:
    number = outbox.add(conn, channel="mqtt", topic=topic, payload="{}", retain=False, wall=at, once=once)
    conn.execute(sa.update(tables.outbox).where(tables.outbox.c.id == number).values(state=state))
    return number


def topics(engine: sa.Engine) -> list[str]:
    with database.read(engine) as conn:
        return list(conn.execute(sa.select(tables.outbox.c.topic).order_by(tables.outbox.c.topic)).scalars())


def test_messages_that_arrived_or_were_replaced_long_ago_are_deleted(engine: sa.Engine) -> None:
    with database.write(engine) as conn:
        for state in ("waiting", "sending", "sent", "failed", "superseded", "maybe_sent"):
            message(conn, f"{state} old", state, OLD)
            message(conn, f"{state} new", state, NEW)

    assert forget(shop(engine, retention=MONTH)).startswith("deleted 2 delivered messages, 0 attempts ")

    left = topics(engine)
    assert "sent old" not in left
    assert "superseded old" not in left
    assert len(left) == 12 - 2


def test_what_people_were_told_stays(engine: sa.Engine) -> None:
    shift = {"site": "lowland", "kind": reports.SHIFT_SUMMARY, "subject": "early 2026-10-27"}
    with database.write(engine) as conn:
        reports.tell(
            conn, **shift, text="1,200 shots", payload="{}", to=["phone"], from_at=OLD, until_at=OLD, wall=OLD
        )
        conn.execute(sa.update(tables.outbox).values(state="sent"))
        alarm = conn.execute(
            sa.insert(tables.alarms).values(
                kind="silence", state="active_unacknowledged", opened_at=OLD, changed_at=OLD, quiet_shots=0,
                characteristics=[], headline="No shot", site="lowland",
            ).returning(tables.alarms.c.id)
        ).scalar_one()  # fmt: skip
        told = message(conn, "alarm 1", "sent", OLD, once=True)
        conn.execute(sa.insert(tables.notices).values(
            alarm_id=alarm, channel="phone", number=1, at=OLD, reason="new", characteristics=1,
            occurrences=1, outbox_id=told,
        ))  # fmt: skip
    forget(shop(engine, retention=MONTH))
    assert topics(engine) == ["alarm 1", "shift summary"]


def test_more_than_one_transaction_holds_are_deleted_too(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(forgetting, "AT_ONCE", 3)
    with database.write(engine) as conn:
        for number in range(10):
            message(conn, str(number), "sent", OLD)
    assert forget(shop(engine, retention=MONTH)).startswith("deleted 10 ")


def guess(conn: sa.Connection, kind: Kind, at: datetime, *, worked: bool = False, name: str = NAME) -> None:
    number = people.add_attempt(conn, name=name, address="10.0.0.9", kind=kind, wall=at)
    if worked:
        people.attempt_worked(conn, number)


def attempts(engine: sa.Engine) -> list[tuple[str, bool]]:
    c = tables.sign_in_attempts.c
    with database.read(engine) as conn:
        return [(row.kind, row.worked) for row in conn.execute(sa.select(c.kind, c.worked).order_by(c.id))]


def account(conn: sa.Connection) -> None:
    people.add_account(
        conn, {"name": NAME, "roles": ["operator"], "created_at": OLD, "created_by": "terminal"}
    )


def test_attempts_of_long_ago_are_deleted(engine: sa.Engine) -> None:
    with database.write(engine) as conn:
        account(conn)
        guess(conn, "pin", OLD)
        guess(conn, "password", OLD, worked=True)
        guess(conn, "password", OLD)
        guess(conn, "pin", OLD, name="nobody")
        guess(conn, "password", NEW)
    assert forget(shop(engine, retention=MONTH)).startswith("deleted 0 delivered messages, 4 attempts ")
    assert attempts(engine) == [("password", False)]


def test_a_pin_that_was_switched_off_stays_off(engine: sa.Engine) -> None:
    with database.write(engine) as conn:
        account(conn)
        for _ in range(PINS_UNTIL_OFF):
            guess(conn, "pin", OLD)
    forget(shop(engine, retention=MONTH))
    with pytest.raises(NotAllowed, match="this one is off"):
        sign_in.by_pin(engine, NAME, "1234", address="10.0.0.1", wall=WALL, lasts=timedelta(minutes=5))


def test_sign_ins_that_are_over_are_deleted_but_the_last_of_each_account(engine: sa.Engine) -> None:
    made = [(1, OLD), (1, OLD), (None, OLD), (None, NEW), (2, OLD), (2, NEW)]
    with database.write(engine) as conn:
        account(conn)
        people.add_account(conn, {"name": "b", "roles": ["admin"], "created_at": OLD, "created_by": "a"})
        for number, (account_id, at) in enumerate(made):
            people.add_sign_in(conn, {
                "token_digest": bytes([number]), "account_id": account_id, "kind": "browser", "at": at,
                "expires_at": at + timedelta(minutes=5),
            })  # fmt: skip
        last = people.last_sign_ins(conn)

    assert forget(shop(engine, retention=MONTH)).endswith(" and 3 sign-ins")

    with database.read(engine) as conn:
        left = conn.execute(sa.select(tables.sign_ins.c.token_digest)).scalars().all()
        assert people.last_sign_ins(conn) == last
    assert sorted(left) == [bytes([number]) for number in (1, 3, 5)]
