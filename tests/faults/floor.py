"""A small floor under test: gateways, relay, Mosquitto, relay, the collector's own process, a database.

A story of two presses, one of which drifts, is published at a steady rate; meanwhile one fault is put in
again and again; afterwards the store is held against what was sent.
"""

from __future__ import annotations

import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Self

import sqlalchemy as sa

from collector.errors import StoreError
from collector.store import database
from collector.store.tables import shots
from simulator.messages import Message, to_message
from simulator.records import SimRecord, SimShot
from simulator.scenarios import plain
from tests.faults.collector_process import STEPPED_COMMAND, CollectorProcess, wait_until
from tests.faults.gateways import RememberingGateways
from tests.faults.proxy import Proxy
from tests.faults.step_file import STEP_FILE
from tests.faults.stores import PostgresStore, SqliteStore, small_disk, socket_folder
from tests.mosquitto_fixtures import Mosquitto, free_port, new_broker

PRESSES = 2
QUIET_S = 45.0  # nothing stored for so long after the last message: no more will come
SOON_S = 1.0  # by then a doubled shot would have come


@dataclass(frozen=True)
class Size:
    """How long a case is: shots of each press, their rate together, and how often the fault is put in."""

    shots: int
    rate_per_s: float
    times: int


def story(seed: int, shots_a_press: int) -> list[SimRecord]:
    """Two presses over days that ended some hours ago; one of them drifts from the middle on."""
    start = datetime.now(UTC) - timedelta(hours=6 + shots_a_press / 60)
    return list(plain(seed, start, presses=PRESSES, shots=shots_a_press, fault="blocked_coolant_core"))


class Floor:
    """Everything a fault may break.

    Attributes
    ----------
    broker : Mosquitto
    to_broker, from_broker : Proxy
        Relays of the gateways and of the collector.
    to_database : Proxy or None
        Relay before PostgreSQL.
    store : SqliteStore or PostgresStore
    collector : CollectorProcess
    """

    def __init__(self, folder: Path, kind: str, cluster_url: str | None) -> None:
        self._closing = ExitStack()
        self.folder = folder
        self.broker: Mosquitto = new_broker(folder)
        self.broker.start()
        self._closing.callback(self.broker.stop)
        self.to_broker = self._closing.enter_context(Proxy(self.broker.port))
        self.from_broker = self._closing.enter_context(Proxy(self.broker.port))
        disk = self._closing.enter_context(small_disk())
        self.to_database: Proxy | None = None
        self.store: SqliteStore | PostgresStore = self._new_store(kind, disk, cluster_url)
        self.engine = database.open_engine(getattr(self.store, "direct_url", self.store.url))
        self._closing.callback(self.engine.dispose)
        self.step_file = folder / "step"
        self.step_file.write_text("0", encoding="ascii")
        self.health_port = free_port()
        self.collector = CollectorProcess(self._environment(), folder / "collector.log", STEPPED_COMMAND)
        self.gateways = RememberingGateways(
            self.to_broker.port, user="gateway", password=self.broker.users["gateway"]
        )
        self._closing.callback(self.gateways.close)
        self.broker_away: list[tuple[float, float]] = []  # from its end to its start, monotonic
        self.connected_at = 0.0  # when the collector was first connected, monotonic
        self.faults_over = 0
        self.sent: list[SimShot] = []
        self.numbered: dict[int, SimShot] = {}  # by place among the messages
        self.published = threading.Event()
        self._count = 0

    def __enter__(self) -> Self:
        self.collector.start()
        try:
            wait_until(self.collector.connected, timeout_s=60, what="the collector connects")
        except AssertionError:
            self.__exit__(AssertionError)
            raise
        self.connected_at = time.monotonic()
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is not None:
            sys.stderr.write((self.folder / "collector.log").read_text(errors="replace")[-4000:])
        try:
            self.collector.end_if_running()
        finally:
            self._closing.close()

    def command(self, *words: str) -> None:
        """Run another command of evenrun on this store, as a person would."""
        other = CollectorProcess(
            self._environment(), self.folder / "command.log",
            [*STEPPED_COMMAND[:2], STEPPED_COMMAND[2].replace("['collect']", repr(list(words)))],
        )
        other.start()
        assert other.wait(120) == 0, (self.folder / "command.log").read_text()[-2000:]

    def publish(self, messages: Sequence[Message], rate_per_s: float, faults: int) -> None:
        """Send at a steady rate; returns when the broker has acknowledged everything.

        There are as many parts as faults, and one more. A part is not begun before the fault of the part
        before is over, so that messages are under way in each fault, and there are some after the last.
        """
        due = time.monotonic()
        for number, message in enumerate(messages):
            while number * (faults + 1) >= len(messages) * (self.faults_over + 1):
                time.sleep(0.01)
                due = time.monotonic()
            time.sleep(max(0.0, due - time.monotonic()))
            due += 1 / rate_per_s
            self.gateways.send(number, message)
        self.gateways.wait(messages, 120)
        self.published.set()

    def health_says(self, words: str) -> bool:
        """Whether /health of the collector answers 503 with such words."""
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.health_port}/health", timeout=2):
                return False
        except urllib.error.HTTPError as error:
            return error.code == 503 and words in error.read().decode()
        except OSError:  # not up yet, or busy
            return False

    def stored(self) -> int:
        """How many shots the store holds; the last answer while it cannot be asked."""
        try:
            with database.read(self.engine) as conn:
                self._count = conn.execute(sa.select(sa.func.count()).select_from(shots)).scalar_one()
        except StoreError:
            return self._count
        return self._count

    def wait_for_progress(self, timeout_s: float = 60.0) -> None:
        """Wait until more shots are stored than now, or all are."""
        before = self.stored()
        wait_until(
            lambda: self.stored() > before or (self.published.is_set() and self.stored() >= len(self.sent)),
            timeout_s=timeout_s, what="shots are stored again",
        )

    def settle(self, expected: int, timeout_s: float = 600.0) -> None:
        """Wait until the expected number is stored, or nothing more comes.

        A backlog is one transaction, which may take long where others use the machine.
        """
        deadline = time.monotonic() + timeout_s
        count, since = self.stored(), time.monotonic()
        while count < expected and time.monotonic() - since < QUIET_S:
            assert time.monotonic() < deadline, f"{count} of {expected} shots after {timeout_s:g} s"
            time.sleep(0.2)
            if (now := self.stored()) != count:
                count, since = now, time.monotonic()
        time.sleep(SOON_S)

    def _new_store(self, kind: str, disk: Path, cluster_url: str | None) -> SqliteStore | PostgresStore:
        if kind == "sqlite":
            return SqliteStore(disk)
        assert cluster_url is not None, "PostgreSQL needs a cluster"
        self.to_database = self._closing.enter_context(
            Proxy(str(socket_folder(cluster_url) / ".s.PGSQL.5432"))
        )
        found = PostgresStore(cluster_url, disk, self.to_database)
        self._closing.callback(found.drop)
        return found

    def _environment(self) -> dict[str, str]:
        return {
            "EVENRUN_DATABASE_URL": self.store.url,
            "EVENRUN_BROKER__PORT": str(self.from_broker.port),
            "EVENRUN_BROKER__USER": "collector",
            "EVENRUN_BROKER__PASSWORD": self.broker.users["collector"],
            "EVENRUN_COLLECTOR__HTTP_PORT": str(self.health_port),
            STEP_FILE: str(self.step_file),
        }


def messages_of(records: Sequence[SimRecord]) -> list[Message]:
    """What the gateways would send."""
    return [to_message(record) for record in records]

