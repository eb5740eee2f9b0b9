"""Kill the process that hands messages over, again and again, and count what arrived.

    python -m tests.faults.crash_outbox [--kills 200] [--seed 20]

After each kill the journal is verified. At the end one process is left to empty the outbox, and what the
receivers were given is held against what was committed: lines of the log at least once, retained states never
an older one after a newer one and the newest last, messages to people exactly once, or at most once and then
marked "maybe sent". The receivers are a file and a web server of the standard library.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from random import Random

import sqlalchemy as sa

from collector.store import journal, outbox, tables
from collector.store.database import open_engine, read, upgrade, write

DRAINED_IN_S = 60.0


@dataclass
class Figures:
    """What a run came to; `wrong` is empty when every promise was kept."""

    kills: int = 0
    in_hand_at_kill: int = 0  # kills that hit a process between claim and settlement of a message
    alarms: int = 0
    log_lines: int = 0
    log_repeated: int = 0
    states: int = 0
    states_repeated: int = 0
    told_once: int = 0
    maybe_arrived: int = 0
    maybe_lost: int = 0
    journal_entries: int = 0
    journal_checks: int = 0
    wrong: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        """The figures for people."""
        return [
            f"{self.kills} kills, {self.in_hand_at_kill} of them with a message in hand",
            f"{self.alarms} alarms committed, {self.journal_entries} journal entries, "
            f"journal verified {self.journal_checks} times",
            f"log: {self.log_lines} lines, none lost, {self.log_repeated} handed over more than once",
            f"retained states: {self.states} handed over, {self.states_repeated} more than once, "
            "none older after a newer one",
            f"to people: {self.told_once} sent and arrived once; maybe sent: {self.maybe_arrived} arrived, "
            f"{self.maybe_lost} did not",
            *(f"WRONG: {each}" for each in self.wrong),
        ]


class Receiver:
    """A web server that keeps what it was sent, and takes its time to answer."""

    def __init__(self, random: Random) -> None:
        self.arrived: list[int] = []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                time.sleep(random.uniform(0.0, 0.02))
                outer.arrived.append(int(json.loads(body)["title"].rpartition("case ")[2]))
                time.sleep(random.uniform(0.0, 0.03))
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                """Nothing on the terminal."""

            def handle(self) -> None:
                try:
                    super().handle()
                except ConnectionError:
                    return  # the sender was killed meanwhile

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        self.address = f"json://127.0.0.1:{self._server.server_port}/phone"

    def close(self) -> None:
        """Stop serving."""
        self._server.shutdown()
        self._server.server_close()

def crash(kills: int, *, seed: int, folder: Path) -> Figures:
    """Kill so many times and count.

    Parameters
    ----------
    kills, seed : int
    folder : Path
        For the store and the file; empty.
    """
    random, figures = Random(seed), Figures()
    store, file = folder / "evenrun.db", folder / "handed-over"
    engine = open_engine(f"sqlite:///{store}")
    upgrade(engine)
    with write(engine) as conn:
        conn.execute(sa.insert(tables.presses).values(site="lowland", name="P1"))
    file.touch()
    receiver = Receiver(random)
    lives = _Lives(store, file, receiver.address)
    try:
        for _ in range(kills):
            lives.live_for(random.uniform(0.05, 0.45))
            figures.kills += 1
            _look_after_kill(engine, figures)
        lives.drain()
    finally:
        lives.close()
        receiver.close()
    _look(engine, figures, receiver.arrived, file.read_text(encoding="utf-8").splitlines())
    engine.dispose()
    return figures


class _Lives:
    """The worker that makes one child after the other."""

    def __init__(self, store: Path, file: Path, address: str) -> None:
        command = [sys.executable, "-m", "tests.faults.outbox_worker", str(store), str(file), address]
        self._maker = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            cwd=Path(__file__).parents[2],
        )  # fmt: skip
        assert self._read() == "ready"

    def live_for(self, seconds: float) -> None:
        """Start a child and kill it after a while."""
        child = self._start("raise")
        time.sleep(seconds)
        os.kill(child, signal.SIGKILL)
        self._wait(child, 10.0)

    def drain(self) -> None:
        """Let one child work until nothing waits."""
        self._wait(self._start("drain"), DRAINED_IN_S)

    def close(self) -> None:
        """End the worker."""
        assert self._maker.stdin is not None
        assert self._maker.stdout is not None
        self._maker.stdin.close()
        self._maker.wait(10)
        self._maker.stdout.close()

    def _start(self, what: str) -> int:
        assert self._maker.stdin is not None
        self._maker.stdin.write(f"{what}\n")
        self._maker.stdin.flush()
        return int(self._read())

    def _read(self) -> str:
        assert self._maker.stdout is not None
        return self._maker.stdout.readline().strip()

    @staticmethod
    def _wait(child: int, seconds: float) -> None:
        end = time.monotonic() + seconds
        while Path(f"/proc/{child}").exists():
            if time.monotonic() > end:
                os.kill(child, signal.SIGKILL)
                raise AssertionError(f"process {child} did not end within {seconds:g} s")
            time.sleep(0.005)


def _look_after_kill(engine: sa.Engine, figures: Figures) -> None:
    with read(engine) as conn:
        breaks = journal.verify(conn)
        in_hand = conn.execute(
            sa.select(sa.func.count()).select_from(tables.outbox)
            .where(tables.outbox.c.state == outbox.SENDING)
        ).scalar_one()  # fmt: skip
    figures.journal_checks += 1
    figures.in_hand_at_kill += bool(in_hand)
    figures.wrong += [f"after kill {figures.kills}: {each.sentence}" for each in breaks]


def _look(engine: sa.Engine, figures: Figures, arrived: list[int], lines: list[str]) -> None:
    """Hold what the receivers have against what the store says."""
    with read(engine) as conn:
        alarms = set(conn.execute(sa.select(tables.alarms.c.id)).scalars())
        figures.journal_entries = conn.execute(
            sa.select(sa.func.count()).select_from(tables.journal)
        ).scalar_one()
        rows = conn.execute(sa.select(tables.outbox).order_by(tables.outbox.c.id)).all()
        told = conn.execute(
            sa.select(tables.notices.c.alarm_id, tables.outbox.c.state)
            .join(tables.outbox, tables.outbox.c.id == tables.notices.c.outbox_id)
        ).all()  # fmt: skip
    figures.alarms = len(alarms)
    if figures.journal_entries != len(alarms):
        figures.wrong.append(f"{figures.journal_entries} journal entries of {len(alarms)} alarms")
    open_rows = [row.id for row in rows if row.state in (outbox.WAITING, outbox.SENDING, outbox.FAILED)]
    figures.wrong += [f"message {number} was never settled" for number in open_rows]
    given = [line.split() for line in lines]
    _look_at_log(figures, alarms, [int(number) for topic, number, _ in given if topic == "log"])
    _look_at_states(figures, rows, [(topic, int(number)) for topic, number, _ in given if topic != "log"])
    _look_at_people(figures, alarms, told, Counter(arrived))


def _look_at_log(figures: Figures, alarms: set[int], numbers: list[int]) -> None:
    counted = Counter(numbers)
    figures.log_lines = len(counted)
    figures.log_repeated = sum(times > 1 for times in counted.values())
    figures.wrong += [f"the line of alarm {number} was lost" for number in alarms - counted.keys()]
    figures.wrong += [f"a line of alarm {number}, which is not stored" for number in counted.keys() - alarms]


def _look_at_states(figures: Figures, rows: list[sa.Row], given: list[tuple[str, int]]) -> None:  # type: ignore[type-arg]
    newest: dict[str, int] = {}
    figures.states = len(set(given))
    figures.states_repeated = len(given) - len(set(given))
    for topic, number in given:
        if number < newest.get(topic, 0):
            figures.wrong.append(f"{topic}: state {number} after {newest[topic]}")
        newest[topic] = max(number, newest.get(topic, 0))
    wanted = {row.topic: int(row.payload) for row in rows if row.retain}
    figures.wrong += [
        f"{topic}: the newest state {number} was lost"
        for topic, number in wanted.items()
        if newest.get(topic) != number
    ]


def _look_at_people(figures: Figures, alarms: set[int], told: list[sa.Row], arrived: Counter[int]) -> None:  # type: ignore[type-arg]
    for alarm_id, state in told:
        times = arrived[alarm_id]
        figures.told_once += state == outbox.SENT and times == 1
        figures.maybe_arrived += state == outbox.MAYBE_SENT and times == 1
        figures.maybe_lost += state == outbox.MAYBE_SENT and times == 0
        allowed = {outbox.SENT: (1,), outbox.MAYBE_SENT: (0, 1)}.get(state, ())
        if times not in allowed:
            figures.wrong.append(f"the message of alarm {alarm_id} is {state} and arrived {times} times")
    counted = Counter(alarm_id for alarm_id, _ in told)
    figures.wrong += [f"nobody was told of alarm {number}" for number in alarms - counted.keys()]
    twice = [(number, times) for number, times in counted.items() if times > 1]
    figures.wrong += [f"alarm {number} was told {times} times" for number, times in twice]


def main() -> None:
    """Run it and print the figures; exit code 1 when a promise was broken."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20)
    chosen = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        figures = crash(chosen.kills, seed=chosen.seed, folder=Path(name))
    print("\n".join(figures.lines()))
    print(f"took {time.monotonic() - began:.0f} s")
    sys.exit(bool(figures.wrong))


if __name__ == "__main__":
    main()
