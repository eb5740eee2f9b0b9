"""A collector that is killed again and again stores every shot once and judges as if nothing happened.

The truth is outside of what is tested: the list of shots that were published, and the whole-array form of
the charts over the values as they stand in the store.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
import sqlalchemy as sa

from collector.retrace import retrace
from collector.store import database
from collector.store.tables import refusals, runs, shots, signals
from simulator.messages import to_message
from simulator.publisher import Gateways
from simulator.records import SimRecord, SimShot
from simulator.scenarios import plain
from tests.faults.collector_process import CollectorProcess, wait_until
from tests.mosquitto_fixtures import Mosquitto

SEED = 20
RATE_PER_S = 500
SHOTS_A_PRESS = 3_000
PRESSES = 2
KILLS = 5

pytestmark = [pytest.mark.mosquitto, pytest.mark.slow]


def environment(folder: Path, broker: Mosquitto) -> dict[str, str]:
    return {
        "EVENRUN_DATABASE_URL": f"sqlite:///{folder / 'evenrun.db'}",
        "EVENRUN_BROKER__PORT": str(broker.port),
        "EVENRUN_BROKER__USER": "collector",
        "EVENRUN_BROKER__PASSWORD": broker.users["collector"],
    }


def story() -> list[SimRecord]:
    """Sixty hours of two presses; one of them drifts from the middle on."""
    start = datetime.now(UTC) - timedelta(hours=60)
    return list(
        plain(SEED, start, presses=PRESSES, shots=SHOTS_A_PRESS, fault="blocked_coolant_core")
    )


def publish(records: list[SimRecord], broker: Mosquitto) -> None:
    began = time.monotonic()
    with Gateways("127.0.0.1", broker.port, user="gateway", password=broker.users["gateway"]) as gateways:
        for number, record in enumerate(records):
            wait_s = number / RATE_PER_S - (time.monotonic() - began)
            if wait_s > 0:
                time.sleep(wait_s)
            gateways.send(to_message(record))


@pytest.fixture
def killed(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[tuple[sa.Engine, list[SimShot]]]:
    """The store after five kills at random moments while 500 shots a second arrive."""
    records = story()
    sent = [record for record in records if isinstance(record, SimShot)]
    collector = CollectorProcess(environment(tmp_path, mosquitto), tmp_path / "collector.log")
    engine = database.open_engine(f"sqlite:///{tmp_path / 'evenrun.db'}")
    collector.start()
    wait_until(collector.connected, timeout_s=60, what="the collector connects")
    publisher = threading.Thread(target=publish, args=(records, mosquitto))
    publisher.start()
    random = Random(SEED)
    stored_at_kill = []
    for _ in range(KILLS):
        time.sleep(random.uniform(1.5, 4.0))
        collector.kill()
        stored_at_kill.append(stored(engine))
        collector.start()
    publisher.join(120)
    wait_until(lambda: stored(engine) >= len(sent), timeout_s=120, what="every shot is stored")
    wait_until(collector.connected, timeout_s=60, what="the last collector connects")
    time.sleep(1.0)  # a doubled shot would come now
    assert collector.stop() == 0
    assert any(0 < count < len(sent) for count in stored_at_kill), "no kill hit a working collector"
    yield engine, sent
    engine.dispose()


def stored(engine: sa.Engine) -> int:
    with database.read(engine) as conn:
        return conn.execute(sa.select(sa.func.count()).select_from(shots)).scalar_one()


def test_nothing_is_lost_or_doubled_and_signals_equal_the_whole_array_form(
    killed: tuple[sa.Engine, list[SimShot]],
) -> None:
    engine, sent = killed

    with database.read(engine) as conn:
        found = conn.execute(sa.select(shots.c.press_id, shots.c.epoch, shots.c.counter)).all()
        presses = {row.press_id for row in found}
        refused = conn.execute(sa.select(sa.func.count()).select_from(refusals)).scalar_one()
        assert len(found) == len(sent)
        assert len(set(found)) == len(found)
        assert {row.epoch for row in found} == {0}
        assert len(presses) == PRESSES
        assert refused == 0
        wrong = differences(conn)
    assert wrong == []


def differences(conn: sa.Connection) -> list[str]:
    """Signals that the stream and the whole-array form do not share, and shares that differ."""
    wrong, compared = [], 0
    for run_id in conn.execute(sa.select(runs.c.id)).scalars().all():
        expected = {}
        for piece in retrace(conn, run_id):
            for chart, track in zip(piece.limits.charts, piece.tracks, strict=True):
                for index, rule in track.signals:
                    name = (int(piece.shot_ids[index]), piece.key, chart.name, rule)
                    expected[name] = float(track.share[index])
        actual = streamed(conn, run_id)
        wrong += [f"only streaming {name}" for name in actual.keys() - expected.keys()]
        wrong += [f"only whole-array {name}" for name in expected.keys() - actual.keys()]
        common = actual.keys() & expected.keys()
        wrong += [
            f"share of {name}"
            for name in common
            if abs(actual[name] - expected[name]) > 1e-9 * max(1, expected[name])
        ]
        compared += len(common)
    assert compared > 100, "the drift must have signaled, or nothing was compared"
    return wrong


def streamed(conn: sa.Connection, run_id: int) -> dict[tuple[int, str, str, str], float]:
    c = signals.c
    rows = conn.execute(
        sa.select(c.shot_id, c.key, c.chart, c.rule, c.share)
        .join(shots, shots.c.id == c.shot_id)
        .where(shots.c.run_id == run_id, c.kind == "chart", c.withdrawn.is_(False))
    )
    return {(row.shot_id, row.key, row.chart, row.rule): row.share for row in rows}
