"""Writers of one process take turns, so that one that writes all the time locks nobody out."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import sqlalchemy as sa

from collector.store import database
from collector.store.turns import Turns


def test_turns_are_had_in_the_order_in_which_they_were_asked_for() -> None:
    turns, order, entered = Turns(), list[int](), threading.Event()

    def one(number: int) -> None:
        with turns.turn(10.0) as mine:
            assert mine
            order.append(number)
            entered.set()
            time.sleep(0.02)

    threads = []
    for number in range(6):
        threads.append(threading.Thread(target=one, args=(number,)))
        threads[-1].start()
        entered.wait(5)
        time.sleep(0.002)  # so that they ask one after the other
    for thread in threads:
        thread.join(10)
    assert order == list(range(6))


def test_whoever_gives_up_waiting_is_passed_over() -> None:
    turns, seen = Turns(), list[bool]()

    def impatient() -> None:
        with turns.turn(0.01) as mine:
            seen.append(mine)

    with turns.turn(1.0):
        thread = threading.Thread(target=impatient)
        thread.start()
        thread.join(5)
    with turns.turn(1.0) as mine:
        assert mine
    assert seen == [False]


def test_a_thread_that_writes_all_the_time_lets_another_write_soon(tmp_path: Path) -> None:
    engine = database.open_engine(f"sqlite:///{tmp_path / 'evenrun.db'}")
    with database.write(engine) as conn:
        conn.exec_driver_sql("CREATE TABLE numbers (number INTEGER)")
    stop = threading.Event()

    def write_all_the_time() -> None:
        while not stop.is_set():
            with database.write(engine) as conn:
                conn.execute(sa.text("INSERT INTO numbers VALUES (1)"))
                time.sleep(0.05)  # a batch of shots

    busy = threading.Thread(target=write_all_the_time)
    busy.start()
    waits = []
    for _ in range(20):
        began = time.monotonic()
        with database.write(engine) as conn:
            conn.execute(sa.text("INSERT INTO numbers VALUES (2)"))
        waits.append(time.monotonic() - began)
        time.sleep(0.02)  # meanwhile the other has the store again
    stop.set()
    busy.join()
    engine.dispose()
    # Without turns nearly every one waited for five seconds, in vain.
    assert max(waits) < 2.0
