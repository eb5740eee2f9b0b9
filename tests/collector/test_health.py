"""Health with its reasons, and metrics that Prometheus' own parser reads.

Status codes: RFC 9110. The format is read back by `prometheus_client.parser`, which is the library of the
Prometheus project, not ours.
"""

from __future__ import annotations

import json
import socket
import threading
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from prometheus_client.parser import text_string_to_metric_families

from collector.clock import ServiceClock
from collector.errors import StoreUnavailable, UserError
from collector.health import Health, read_health
from collector.metrics import metrics_text
from collector.settings import Settings
from collector.store import channels, database, heartbeats, jobs, outbox, tables
from collector.web import health_routes, serving
from tests.store_fixtures import Seeded

WALL = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
DETAIL: dict[str, Any] = {
    "broker": "connected", "in_hand": 3, "batches": 7, "store_s": 0.5, "store_problem": None,
    "counts": {"stored": 70, "refused": 2},
}  # fmt: skip


def beat(engine: sa.Engine, *, ago_s: float = 1, name: str = "shop-pc:77", **changed: Any) -> None:
    wall = WALL - timedelta(seconds=ago_s)
    with database.write(engine) as conn:
        heartbeats.beat_of(conn, name, wall=wall, now=wall, detail=DETAIL | changed)


def stop(engine: sa.Engine, name: str = "shop-pc:77", *, ago_s: float = 0) -> None:
    with database.write(engine) as conn:
        heartbeats.stop_of(conn, name, wall=WALL - timedelta(seconds=ago_s))


def health(engine: sa.Engine) -> Health:
    with database.read(engine) as conn:
        return read_health(conn, Settings(), now=WALL, wall=WALL)


def test_a_service_that_works_is_well(engine: sa.Engine) -> None:
    beat(engine)
    assert health(engine).ok


def wait_in_outbox(channel: str, minutes: float) -> Callable[[sa.Engine], None]:
    def put(engine: sa.Engine) -> None:
        with database.write(engine) as conn:
            outbox.add(
                conn, channel=channel, topic="t", payload="", retain=False,
                wall=WALL - timedelta(minutes=minutes),
            )  # fmt: skip

    return put


def job_ran(*, ago_s: float, outcome: str, failed: bool) -> Callable[[sa.Engine], None]:
    def run(engine: sa.Engine) -> None:
        at = WALL - timedelta(seconds=ago_s)
        with database.write(engine) as conn:
            claim = jobs.claim(
                conn, "self-check", wall=at, every=timedelta(minutes=1), longest=timedelta(minutes=1),
                when_missed="declared",
            )  # fmt: skip
            assert claim is not None
            jobs.finish(conn, "self-check", claim, wall=at, took_s=0.1, failed=failed, outcome=outcome)

    return run


def switch_off(engine: sa.Engine) -> None:
    with database.write(engine) as conn:
        channels.disable(conn, "phone", wall=WALL, why="401")


@pytest.mark.parametrize(
    ("happened", "said"),
    [
        (lambda engine: beat(engine, ago_s=16), "no sign of life for 16 s"),
        (lambda engine: beat(engine, broker="no connection to the broker"), "no connection to the broker"),
        (lambda engine: beat(engine, store_problem="the disk is full"), "the disk is full"),
        (lambda engine: beat(engine, folders=["the folder in cannot be listed"]), "in cannot be listed"),
        (wait_in_outbox("mqtt", 2), "1 messages wait on mqtt, the oldest for 120 s"),
        (wait_in_outbox("phone", 16), "1 messages wait on phone"),
        (job_ran(ago_s=10, failed=True, outcome="3 MB left"), "the job 'self-check' fails: 3 MB left"),
        (job_ran(ago_s=900, failed=False, outcome=""), "'self-check' has not run for 900 s"),
        (switch_off, "the channel phone is switched off"),
    ],
)
def test_what_is_wrong_is_said(engine: sa.Engine, happened: Callable[[sa.Engine], None], said: str) -> None:
    beat(engine)
    happened(engine)
    found = health(engine)
    assert not found.ok
    assert len(found.reasons) == 1
    assert said.replace("no sign", "given a sign") in found.reasons[0] or said in found.reasons[0]


def test_a_stopped_collector_is_one_reason_and_not_one_more_for_each_of_its_jobs(engine: sa.Engine) -> None:
    beat(engine, ago_s=900)
    job_ran(ago_s=900, failed=False, outcome="")(engine)
    (reason,) = health(engine).reasons
    assert "no collector has given a sign of life" in reason
    job_ran(ago_s=840, failed=True, outcome="3 MB left")(engine)
    assert any("fails: 3 MB left" in each for each in health(engine).reasons)


@pytest.mark.parametrize(
    "happened",
    [wait_in_outbox("mqtt", 0.5), wait_in_outbox("phone", 2), job_ran(ago_s=90, failed=False, outcome="")],
)
def test_what_may_take_a_while_is_not_wrong(
    engine: sa.Engine, happened: Callable[[sa.Engine], None]
) -> None:
    beat(engine)
    happened(engine)
    assert health(engine).ok


def test_a_store_without_a_collector_says_what_to_start(engine: sa.Engine) -> None:
    assert health(engine).reasons == ("no collector has ever run on this store: start `evenrun collect`",)


def press(seeded: Seeded, **values: object) -> Any:
    with database.write(seeded.engine) as conn:
        conn.execute(sa.update(tables.presses).values(**values))
    (found,) = health(seeded.engine).presses
    return found


def test_a_press_that_should_have_made_a_shot_is_silent(seeded: Seeded) -> None:
    beat(seeded.engine)
    long_ago = WALL - timedelta(minutes=6)
    quiet = press(seeded, last_shot_at=long_ago, heard_at=long_ago, usual_cycle_s=60.0)
    assert (quiet.silent, quiet.age_s) == (True, 360.0)
    assert not press(seeded, heard_at=WALL - timedelta(minutes=4)).silent
    assert health(seeded.engine).ok, "a silent press is no fault of the service"


@pytest.mark.parametrize("wrong", [timedelta(hours=-2), timedelta(hours=2)])
def test_the_clock_of_a_press_says_nothing_of_its_silence(seeded: Seeded, wrong: timedelta) -> None:
    just_now, long_ago = WALL - timedelta(minutes=1), WALL - timedelta(minutes=6)
    heard = press(seeded, last_shot_at=just_now + wrong, heard_at=just_now, usual_cycle_s=60.0)
    assert not heard.silent
    assert press(seeded, last_shot_at=long_ago + wrong, heard_at=long_ago).silent


def test_a_press_that_is_known_from_files_only_is_not_silent(seeded: Seeded) -> None:
    assert not press(seeded, last_shot_at=WALL - timedelta(hours=1), usual_cycle_s=60.0).silent


def test_a_press_whose_run_is_closed_is_not_silent(seeded: Seeded) -> None:
    with database.write(seeded.engine) as conn:
        conn.execute(sa.update(tables.runs).values(closed_at=WALL - timedelta(hours=1)))
    long_ago = WALL - timedelta(hours=1)
    assert not press(seeded, last_shot_at=long_ago, heard_at=long_ago, usual_cycle_s=60.0).silent


def test_the_lag_is_from_the_end_of_the_newest_shot_to_its_arrival(seeded: Seeded) -> None:
    last = seeded.started_at + timedelta(minutes=99)
    assert press(seeded, last_shot_at=last).lag_s == 0.12


def test_where_floor_time_is_not_real_time_nothing_is_said_of_the_lag(seeded: Seeded) -> None:
    press(seeded, last_shot_at=seeded.started_at + timedelta(minutes=99))
    with database.read(seeded.engine) as conn:
        found = read_health(conn, Settings(), now=WALL - timedelta(days=9), wall=WALL)
    assert (found.presses[0].lag_s, found.presses[0].age_s) == (None, 0.0)


def samples_of(engine: sa.Engine) -> dict[tuple[str, ...], float]:
    """The metrics as Prometheus reads them, by name and labels."""
    text = metrics_text(health(engine), read_s=0.004, wall=WALL).decode()
    return {
        (sample.name, *sample.labels.values()): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


CONNECTED, AGE = "evenrun_collector_broker_connected", "evenrun_collector_sign_of_life_age_seconds"


def test_a_collector_that_is_started_again_goes_on_with_its_series(engine: sa.Engine) -> None:
    beat(engine, ago_s=500, name="shop-pc:76", in_hand=9)
    beat(engine)
    ages = {key[1]: value for key, value in samples_of(engine).items() if key[0] == AGE}
    assert ages == {"shop-pc": 1}
    states = {one.name: one.state for one in health(engine).collectors}
    assert states == {"shop-pc:76": "not heard", "shop-pc:77": "alive"}


def test_collectors_of_one_computer_are_told_apart_by_their_starts(engine: sa.Engine) -> None:
    beat(engine, name="shop-pc:9", started_at="2026-11-24T11:00:00+00:00", in_hand=1)
    beat(engine, name="shop-pc:10", started_at="2026-11-24T10:00:00+00:00", in_hand=2)
    beat(engine, name="other-pc:4", in_hand=5)
    samples = samples_of(engine)
    in_hand = {key[1]: value for key, value in samples.items() if key[0] == "evenrun_collector_in_hand"}
    assert in_hand == {"shop-pc": 2, "shop-pc 2": 1, "other-pc": 5}


def test_a_collector_that_fell_silent_is_not_connected_and_leaves_after_an_hour(engine: sa.Engine) -> None:
    beat(engine, ago_s=16)
    samples = samples_of(engine)
    assert (samples[CONNECTED, "shop-pc"], samples[AGE, "shop-pc"]) == (0, 16)

    beat(engine, ago_s=3_601)
    assert not [key for key in samples_of(engine) if key[0] == AGE]
    assert "no collector has given a sign of life for 3601 s" in health(engine).reasons[0]


def test_a_collector_that_a_locked_store_keeps_silent_is_not_said_to_be_missing(
    engine: sa.Engine, seeded: Seeded, database_url: str
) -> None:
    beat(engine, ago_s=48)
    with database.write(engine) as conn:
        long_ago = WALL - timedelta(seconds=90)
        conn.execute(sa.update(tables.presses).values(heard_at=long_ago, usual_cycle_s=10.0))
        conn.execute(sa.update(tables.runs).values(closed_at=None))
    assert "start `evenrun collect`" in health(engine).reasons[0]
    assert [press.silent for press in health(engine).presses] == [True]
    other = database.open_engine(database_url)
    with database.write(other) as conn:
        if other.dialect.name == "postgresql":
            conn.exec_driver_sql("LOCK TABLE heartbeats IN EXCLUSIVE MODE")
        found = health(engine)
    other.dispose()
    assert "is locked by another process" in found.reasons[0]
    assert found.reasons[0].endswith("the last one is 48 s old")
    assert not any("evenrun collect" in reason for reason in found.reasons)
    assert [press.silent for press in found.presses] == [False]


def test_a_collector_that_was_stopped_says_so(engine: sa.Engine) -> None:
    beat(engine, ago_s=20)
    stop(engine, ago_s=19)
    found = health(engine)
    assert [one.state for one in found.collectors] == ["stopped"]
    assert found.reasons == ("the collector was stopped 20 s ago: start `evenrun collect`",)
    assert samples_of(engine)[CONNECTED, "shop-pc"] == 0


def test_one_that_stops_says_nothing_for_another(engine: sa.Engine) -> None:
    beat(engine, ago_s=2, name="shop-pc:76")
    beat(engine, ago_s=1)
    stop(engine, "shop-pc:76")
    stop(engine, "shop-pc:75")  # it waited, and never spoke
    assert {one.name: one.state for one in health(engine).collectors} == {
        "shop-pc:76": "stopped", "shop-pc:77": "alive"
    }
    assert health(engine).ok


def test_prometheus_reads_the_metrics(seeded: Seeded) -> None:
    beat(seeded.engine)
    switch_off(seeded.engine)
    wait_in_outbox('odd "name"\\', 0)(seeded.engine)
    job_ran(ago_s=10, failed=True, outcome="full")(seeded.engine)
    long_ago = WALL - timedelta(minutes=6)
    press(seeded, last_shot_at=long_ago, heard_at=long_ago, usual_cycle_s=60.0)
    samples = samples_of(seeded.engine)
    assert samples["evenrun_ok",] == 0
    assert samples["evenrun_store_read_seconds",] == 0.004
    assert samples["evenrun_messages_total", "shop-pc", "stored"] == 70
    assert samples["evenrun_store_seconds_total", "shop-pc"] == 0.5
    assert samples["evenrun_collector_in_hand", "shop-pc"] == 3
    assert samples["evenrun_press_age_seconds", "P1"] == 360
    assert samples["evenrun_press_silent", "P1"] == 1
    assert samples["evenrun_outbox_waiting", 'odd "name"\\'] == 1
    assert samples["evenrun_channel_off", "phone"] == 1
    assert samples["evenrun_job_failed", "self-check"] == 1


@contextmanager
def served(engine: Callable[[], sa.Engine], clock: ServiceClock | None = None) -> Iterator[int]:
    """The collector's own server on a free port, which it gives."""
    fixed = ServiceClock(wall_anchor=WALL, service_anchor=WALL, wall=lambda: WALL)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    with serving("127.0.0.1", port, health_routes(engine, Settings, lambda: clock or fixed)):
        yield port


def get(port: int, path: str, method: str = "GET") -> tuple[int, Any, str]:
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", method=method)
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:
            return answer.status, answer.headers, answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.headers, error.read().decode()


def test_health_answers_200_or_503_with_reasons(engine: sa.Engine) -> None:
    with served(lambda: engine) as port:
        code, _, body = get(port, "/health")
        assert code == 503
        assert "evenrun collect" in json.loads(body)["reasons"][0]
        beat(engine)
        code, headers, body = get(port, "/health")
        assert (code, json.loads(body)["ok"], json.loads(body)["reasons"]) == (200, True, [])
        assert headers["cache-control"] == "no-store"
        assert get(port, "/health", "POST")[0] == 405
        assert get(port, "/metrics")[1]["content-type"] == "text/plain; version=0.0.4; charset=utf-8"


def test_a_store_that_is_away_is_a_reason_not_an_error() -> None:
    def away() -> sa.Engine:
        raise StoreUnavailable("the database cannot be reached; it is tried again")

    with served(away) as port:
        code, _, body = get(port, "/health")
        assert code == 503
        assert json.loads(body)["reasons"] == ["the database cannot be reached; it is tried again"]
        assert "evenrun_ok 0.0" in get(port, "/metrics")[2]


def test_a_port_that_is_taken_is_said(engine: sa.Engine) -> None:
    with (
        served(lambda: engine) as port,
        pytest.raises(UserError, match="cannot be served on"),
        serving("127.0.0.1", port, []),
    ):
        pytest.fail("two servers on one port")


def test_without_a_port_nothing_is_served() -> None:
    before = set(threading.enumerate())
    with serving("127.0.0.1", None, []):
        assert set(threading.enumerate()) <= before
