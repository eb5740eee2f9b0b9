"""A process that raises alarms and hands them over, to be killed at any moment.

Started once, it imports everything and then makes a child for each line that it reads, so that a life costs
milliseconds instead of seconds. The child commits alarms with their journal entry and their messages, as a
batch of shots would, while the service's own delivery hands them over: to a file in place of the broker and
the log, and over HTTP to a receiver that the test keeps.

    python -m tests.faults.outbox_worker STORE FILE ADDRESS
"""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path
from random import Random

import sqlalchemy as sa
from apprise import Apprise

from collector.alarms.channels.people import PeopleChannel
from collector.alarms.delivering import Delivery
from collector.alarms.notifying import tell_people
from collector.clock import ServiceClock, real_clock
from collector.settings import Settings
from collector.settings_delivery import MessageChannel
from collector.store import alarms, journal, outbox
from collector.store.database import open_engine, read, write
from collector.store.tables import alarms as alarm_table
from collector.store.tables import notices
from collector.store.tables import outbox as outbox_table

PHONE = "phone"
PRESS_ID = 1
PRESSES = 3
OPEN = (outbox.WAITING, outbox.SENDING)


class FileChannel:
    """A receiver that keeps every line for good before it says so."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def send(self, topic: str, payload: str, *, retain: bool) -> None:
        """Add a line, which survives a kill of this process."""
        with self._path.open("a", encoding="utf-8") as file:
            file.write(f"{topic} {payload} {int(retain)}\n")


def settings(address: str) -> Settings:
    """One channel to people, without repeats."""
    phone = MessageChannel(name=PHONE, url=address)  # type: ignore[arg-type]
    return Settings(channels=(phone,))


def live(store: str, file: Path, address: str, *, raising: bool) -> None:
    """Work until killed; without `raising`, until nothing waits any more."""
    engine, clock, random = open_engine(f"sqlite:///{store}"), real_clock(), Random(os.getpid())
    own = settings(address)
    to_file = FileChannel(file)
    delivery = Delivery(
        engine, {"mqtt": to_file, "log": to_file},
        {PHONE: PeopleChannel(PHONE, own.channels[0].address, timeout_s=10.0)},
        tell_people=lambda: tell_people(engine, own, clock), clock=clock, random=random,
    )  # fmt: skip
    delivery.start()
    while raising or _waits(engine):
        if raising:
            raise_alarm(engine, clock, random)
        delivery.soon()
        time.sleep(random.uniform(0.0, 0.03) if raising else 0.05)
    delivery.stop()


def raise_alarm(engine: sa.Engine, clock: ServiceClock, random: Random) -> None:
    """One transaction as a batch of shots makes it: alarm, journal entry, retained state, line of the log."""
    now = clock.now()
    with write(engine) as conn:
        number = alarms.open_new(conn, {
            "press_id": PRESS_ID, "kind": "process", "state": "active_unacknowledged", "opened_at": now,
            "changed_at": now, "quiet_shots": 0, "characteristics": [], "headline": "Cushion low",
        })  # fmt: skip
        alarms.change(conn, number, {"headline": f"Cushion low, case {number}"})
        alarms.add_step(
            conn, number, at=now, event="occur", before="normal", after="active_unacknowledged"
        )
        journal.append(
            conn, at=now, wall_at=clock.wall(), who="service", action="seal", subject=f"alarm {number}"
        )
        topic = f"press/{random.randrange(PRESSES)}"
        outbox.add(conn, channel="mqtt", topic=topic, payload=str(number), retain=True, wall=clock.wall())
        outbox.add(conn, channel="log", topic="log", payload=str(number), retain=False, wall=clock.wall())
        _take_in_hand(conn)


def _take_in_hand(conn: sa.Connection) -> None:
    """Acknowledge what somebody was told of, so that the list of open alarms stays short."""
    told = (
        sa.select(notices.c.alarm_id)
        .join(outbox_table, outbox_table.c.id == notices.c.outbox_id)
        .where(outbox_table.c.state.in_((outbox.SENT, outbox.MAYBE_SENT)))
    )
    waiting = alarm_table.c.acknowledged_at.is_(None)
    conn.execute(
        sa.update(alarm_table)
        .where(waiting, alarm_table.c.id.in_(told))
        .values(state="active_acknowledged", acknowledged_at=alarm_table.c.opened_at)
    )


def _waits(engine: sa.Engine) -> bool:
    """Whether something still has to be handed over, or somebody to be told."""
    told = sa.select(notices.c.alarm_id)
    with read(engine) as conn:
        queued = conn.execute(
            sa.select(outbox_table.c.id).where(outbox_table.c.state.in_(OPEN)).limit(1)
        ).first()
        untold = conn.execute(
            sa.select(alarm_table.c.id).where(alarm_table.c.id.not_in(told)).limit(1)
        ).first()
    return queued is not None or untold is not None


def main() -> None:
    """Make a child a line: `raise` works until it is killed, `drain` until nothing waits."""
    store, file, address = sys.argv[1], Path(sys.argv[2]), sys.argv[3]
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    assert Apprise().add(address)  # its plugins are found once, here, and not in every child
    print("ready", flush=True)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            live(store, file, address, raising=line.strip() == "raise")
            os._exit(0)
        print(child, flush=True)


if __name__ == "__main__":
    main()
