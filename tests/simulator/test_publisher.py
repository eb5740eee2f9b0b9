"""Messages of the stories: what the contract reads back is what the story said."""

import hashlib
import json
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.contract.messages import GaugingMessage
from collector.contract.parse import Policy, parse
from collector.contract.quantities import find
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.sources.incoming import Incoming
from simulator import client_loop
from simulator.gauging import gaugings
from simulator.publisher import Gateways, paced, to_message
from simulator.records import SimEvent, SimRecord, SimShot
from simulator.scenarios import ordinary_week, plain

MONDAY = datetime(2026, 11, 16, tzinfo=UTC)


@pytest.fixture(scope="module")
def records() -> list[SimRecord]:
    return list(islice(ordinary_week(7, MONDAY), 1500))


def read(record, now: datetime):
    message = to_message(record)
    incoming = Incoming(message.topic, message.payload, "test", "0")
    return parse(incoming, now=now, received_at=now, policy=Policy())


def test_every_message_of_a_story_is_read_without_a_refusal(records: list[SimRecord]) -> None:
    now = MONDAY + timedelta(days=3)
    for record in [*records, *gaugings(records, 7)]:
        assert not isinstance(read(record, now), Refusal)


def test_a_shot_reads_back_as_it_was_made_whatever_units_its_gateway_speaks(records: list[SimRecord]) -> None:
    now = MONDAY + timedelta(days=1)
    for record in records[:300]:
        if isinstance(record, SimShot):
            shot = read(record, now)
            assert isinstance(shot, Shot)
            assert shot.values == pytest.approx(record.values, abs=1e-6)
            assert shot.setpoints == pytest.approx(record.setpoints, abs=1e-6)
            assert (shot.counter, shot.run, shot.tray) == (record.counter, record.run, record.tray)
            assert shot.tray_position == record.tray_position
            assert abs(shot.ended_at - record.ended_at) < timedelta(milliseconds=1)


def test_every_value_is_known_and_plausible(records: list[SimRecord]) -> None:
    for record in records:
        if isinstance(record, SimShot):
            for key, value in record.values.items():
                quantity = find(key)
                assert quantity is not None, key
                assert quantity.is_plausible(value), (key, value)


def test_p2_sends_bar_and_fahrenheit_and_says_so(records: list[SimRecord]) -> None:
    shot = next(r for r in records if isinstance(r, SimShot) and r.press == "P2")
    body = json.loads(to_message(shot).payload)
    assert body["units"] == {"peak_melt_pressure": "bar", "barrel_temperature": "degF"}
    assert body["values"]["peak_melt_pressure"] == pytest.approx(10 * shot.values["peak_melt_pressure"])
    assert body["setpoints"]["barrel_temperature.1"] == pytest.approx(190 * 1.8 + 32)


def test_setpoints_and_state_are_retained_and_shots_are_not(records: list[SimRecord]) -> None:
    retained = {
        "shot" if isinstance(record, SimShot) else record.kind: to_message(record).retain
        for record in records
    }
    assert retained == {"shot": False, "run": False, "tray": False, "setpoints": True, "state": True}


def test_topics_are_those_of_the_contract(records: list[SimRecord]) -> None:
    shot = next(r for r in records if isinstance(r, SimShot))
    event = next(r for r in records if isinstance(r, SimEvent) and r.kind == "tray")
    assert to_message(shot).topic == "evenrun/1/lowland/P1/shot"
    assert to_message(event, site="east").topic == "evenrun/1/east/P1/tray"
    assert to_message(next(gaugings(records, 7, every=1))).topic == "evenrun/1/lowland/gauging"


def test_a_gauging_keeps_its_value_and_its_disc(records: list[SimRecord]) -> None:
    for gauging in gaugings(records, 7):
        message = read(gauging, MONDAY + timedelta(days=3))
        assert isinstance(message, GaugingMessage)
        assert (message.value, message.counter) == (gauging.value, gauging.counter)
        assert message.tray == (None if gauging.counter is not None else gauging.tray)


def test_the_same_seed_gives_the_same_bytes() -> None:
    def digest(seed: int) -> str:
        whole = hashlib.sha256()
        for record in plain(seed, MONDAY, presses=2, shots=80, fault="lot_change"):
            whole.update(to_message(record).payload)
        return whole.hexdigest()

    assert digest(1) == digest(1)
    assert digest(1) != digest(2)


def test_pacing_lets_a_minute_of_the_floor_pass_in_a_second(records: list[SimRecord]) -> None:
    now, slept = 100.0, []

    def sleep(seconds: float) -> None:
        nonlocal now
        slept.append(seconds)
        now += seconds

    shots = [record for record in records[:120] if isinstance(record, SimShot)]
    for shot in paced(shots, speed=60.0, monotonic=lambda: now, sleep=sleep):
        assert now - 100.0 == pytest.approx((shot.ended_at - shots[0].ended_at).total_seconds() / 60)
    assert len(slept) == len(shots) - 1


def test_a_broker_that_is_not_there_is_one_sentence() -> None:
    shot = next(r for r in plain(1, MONDAY, shots=1) if isinstance(r, SimShot))
    with (
        pytest.raises(ConnectionError, match=r"127\.0\.0\.1:1 cannot be reached"),
        Gateways("127.0.0.1", 1) as gateways,
    ):
        gateways.send(to_message(shot))


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[int]:
    """A Mosquitto of our own with one user, on a free port."""
    program, secret = shutil.which("mosquitto"), tmp_path / "users"
    if program is None:
        missing = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
        missing("the program mosquitto is missing")
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(secret), "gateway", "key"], check=True)
    secret.chmod(0o644)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    config = tmp_path / "mosquitto.conf"
    config.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {secret}\nuser root\n"
    )
    process = subprocess.Popen([program, "-c", str(config)], stderr=subprocess.DEVNULL)
    try:
        _wait_for(port)
        yield port
    finally:
        process.terminate()
        process.wait(10)


def _wait_for(port: int) -> None:
    for _ in range(100):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError("mosquitto did not come up")


@pytest.mark.mosquitto
def test_gateways_bring_every_message_to_a_broker_in_order(mosquitto: int) -> None:
    got: list[tuple[str, bytes]] = []
    listener = paho.Client(CallbackAPIVersion.VERSION2, client_id="listener")
    listener.username_pw_set("gateway", "key")
    listener.on_message = lambda _client, _data, message: got.append((message.topic, message.payload))
    listener.connect("127.0.0.1", mosquitto)
    subscribed = []
    listener.on_subscribe = lambda *_args: subscribed.append(1)
    listener.subscribe("evenrun/1/#", qos=1)
    listener.loop_start()
    try:
        _until(lambda: bool(subscribed))
        sent = [to_message(record) for record in plain(1, MONDAY, presses=2, shots=40)]
        with Gateways("127.0.0.1", mosquitto, user="gateway", password="key") as gateways:
            for message in sent:
                gateways.send(message)
        _until(lambda: len(got) >= len(sent))
    finally:
        listener.disconnect()
        listener.loop_stop()
    for press in ("P1", "P2"):
        expected = [(m.topic, m.payload) for m in sent if m.sender == press]
        assert [pair for pair in got if f"/{press}/" in pair[0]] == expected


@pytest.mark.mosquitto
def test_a_wrong_password_is_one_sentence(mosquitto: int) -> None:
    shot = next(r for r in plain(1, MONDAY, shots=1) if isinstance(r, SimShot))
    with (
        pytest.raises(ConnectionError, match="refused gateway P1"),
        Gateways("127.0.0.1", mosquitto, user="gateway", password="wrong") as gateways,
    ):
        gateways.send(to_message(shot))


@pytest.mark.mosquitto
def test_a_floor_may_have_more_gateways_than_select_can_watch(mosquitto: int) -> None:
    """`select` takes no descriptor above 1023; these sockets all get higher ones."""
    taken = [os.dup(0) for _ in range(1024)]
    try:
        with Gateways("127.0.0.1", mosquitto, user="gateway", password="key") as gateways:
            for record in plain(1, MONDAY, presses=12, shots=2):
                gateways.send(to_message(record))
            sockets = [gateway._client.socket() for gateway in gateways._gateways.values()]
            assert min(sock.fileno() for sock in sockets) > 1023
    finally:
        for descriptor in taken:
            os.close(descriptor)


def _until(met, timeout_s: float = 10.0) -> None:
    end = time.monotonic() + timeout_s
    while not met():
        assert time.monotonic() < end, "nothing came in time"
        time.sleep(0.02)


@pytest.mark.mosquitto
def test_what_a_lost_connection_left_behind_is_sent_again(mosquitto: int) -> None:
    """The listener has its own session, so nothing may be missing; what comes twice is allowed at QoS 1."""
    got: set[bytes] = set()
    listener = paho.Client(CallbackAPIVersion.VERSION2, client_id="listener")
    listener.username_pw_set("gateway", "key")
    listener.on_message = lambda _client, _data, message: got.add(message.payload)
    listener.connect("127.0.0.1", mosquitto)
    subscribed = []
    listener.on_subscribe = lambda *_args: subscribed.append(1)
    listener.subscribe("evenrun/1/#", qos=1)
    listener.loop_start()
    try:
        _until(lambda: bool(subscribed))
        sent = [to_message(record) for record in plain(1, MONDAY, shots=60)]
        with Gateways("127.0.0.1", mosquitto, user="gateway", password="key") as gateways:
            for number, message in enumerate(sent):
                if number == 30:
                    gateways._gateways["P1"]._client.socket().shutdown(socket.SHUT_RDWR)
                gateways.send(message)
        _until(lambda: {message.payload for message in sent} <= got)
    finally:
        listener.disconnect()
        listener.loop_stop()


@pytest.mark.mosquitto
def test_a_broker_that_never_acknowledges_is_reported(
    mosquitto: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(client_loop, "TICK_S", 60.0)  # the lost connection is not taken up again in time
    gateways = Gateways("127.0.0.1", mosquitto, user="gateway", password="key")
    shot = next(r for r in plain(1, MONDAY, shots=1) if isinstance(r, SimShot))
    gateways.send(to_message(shot))
    gateways.flush()
    gateways._gateways["P1"]._client.disconnect()
    gateways.send(to_message(shot))
    with pytest.raises(ConnectionError, match=r"left messages of gateway P1 unacknowledged \(1\)"):
        gateways.flush(timeout_s=0.3)
    gateways.close()
