"""The broker of the compose file: its own start script in a real Mosquitto, and who may do what there.

Held against the access control of Mosquitto itself, with paho as every client. A refused publication is told
by reason code 0x87 (OASIS MQTT 5.0, 3.4.2.1, "Not authorized").
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import yaml
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from tests.collector.sources.mqtt_helpers import wait_for
from tests.mosquitto_fixtures import free_port, need_mosquitto

COMPOSE: dict[str, Any] = yaml.safe_load(
    (Path(__file__).resolve().parent.parent / "docker-compose.yml").read_text(encoding="utf-8")
)
NOT_AUTHORIZED = 0x87
SITE = "evenrun/1/lowland"
PASSWORDS = {"collector": "c-secret", "P1": "one", "P2": "two:with:colons", "gauges": "g", "light": "l"}

pytestmark = pytest.mark.mosquitto


@dataclass(frozen=True)
class Broker:
    """A running broker: where its files are, its plain and its encrypted port."""

    folder: Path
    plain: int
    encrypted: int


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory, certificates: Path) -> Iterator[Broker]:
    need_mosquitto()
    found = Broker(tmp_path_factory.mktemp("compose"), free_port(), free_port())
    process = start(found.folder, found, certificates)
    try:
        wait_for(lambda: answers(found.plain) and answers(found.encrypted))
        yield found
    finally:
        process.terminate()
        process.wait(10)


def start(folder: Path, ports: Broker, certificates: Path) -> subprocess.Popen[bytes]:
    """Run the entrypoint with its folders moved below `folder` and its ports to free ones."""
    for name in ("mosquitto/data", "mosquitto/config", "run/secrets"):
        (folder / name).mkdir(parents=True)
    shutil.copytree(certificates, folder / "certificates")
    for wanted in COMPOSE["services"]["broker"]["configs"]:
        content = COMPOSE["configs"][wanted["source"]]["content"]
        content = content.replace("listener 1883", f"listener {ports.plain}")
        content = content.replace("listener 8883", f"listener {ports.encrypted}")
        if wanted["source"] == "mosquitto" and os.getuid() == 0:
            content += "user root\n"  # another user may not read a test's temporary folder
        target = folder / wanted["target"].lstrip("/")
        target.write_text(content.replace("/mosquitto/", f"{folder}/mosquitto/"), encoding="utf-8")
    (folder / "run/secrets/collector_password").write_text("c-secret", encoding="utf-8")
    (folder / "run/secrets/broker_users").write_text(
        "P1:one P2:two:with:colons gauges:g light:l", encoding="utf-8"
    )
    shell, options, script = COMPOSE["services"]["broker"]["entrypoint"]
    script = script.replace("$$", "$").replace("chown -R mosquitto:mosquitto", "ls")
    for path in ("/mosquitto/", "/run/", "/certificates/"):
        script = script.replace(f" {path}", f" {folder}{path}")
    environment = {**os.environ, "PATH": f"{os.environ['PATH']}:/usr/sbin"}
    with (folder / "log").open("wb") as log:
        return subprocess.Popen([shell, options, script], stdout=log, stderr=log, env=environment)


def answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


@contextmanager
def signed_in(broker: Broker, user: str, *, password: str | None = None) -> Iterator[Client]:
    """A client on the plain port."""
    client = new_client()
    client.username_pw_set(user, PASSWORDS[user] if password is None else password)
    with connected(client, broker.plain):
        yield client


@contextmanager
def certified(broker: Broker, name: str) -> Iterator[Client]:
    """A client on the encrypted port, known by its certificate alone."""
    client = new_client()
    folder = broker.folder / "certificates"
    client.tls_set(str(folder / "ca.crt"), str(folder / f"{name}.crt"), str(folder / f"{name}.key"))
    with connected(client, broker.encrypted):
        yield client


def new_client() -> Client:
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5, reconnect_on_failure=False)
    client.user_data_set([])
    client.on_message = lambda _client, heard, message: heard.append(message)
    return client


@contextmanager
def connected(client: Client, port: int) -> Iterator[None]:
    refused: list[ReasonCode] = []
    client.on_connect = lambda _c, _d, _f, code, _p: refused.append(code) if code.is_failure else None
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        wait_for(lambda: client.is_connected() or bool(refused), 5)
        if refused:
            raise ConnectionError(str(refused[0]))
        yield
    finally:
        client.disconnect()
        client.loop_stop()


def may_write(client: Client, topic: str) -> bool:
    """Publish at QoS 1, and see what the broker says to it."""
    codes: list[int] = []
    client.on_publish = lambda _c, _d, _m, code, _p: codes.append(code.value)
    client.publish(topic, b"{}", qos=1)
    wait_for(lambda: bool(codes), 5)
    assert codes[0] in (0x00, 0x10, NOT_AUTHORIZED)  # 0x10: taken, though nobody subscribes
    return codes[0] != NOT_AUTHORIZED


def reads(client: Client, topic: str) -> set[str]:
    """The topics whose retained messages come within half a second."""
    client.subscribe(topic, qos=1)
    time.sleep(0.5)
    return {message.topic for message in client.user_data_get()}


RIGHTS = [
    ("P1", "P1/shot", True),
    ("P1", "P1/run", True),
    ("P1", "P1/tray", True),
    ("P1", "P1/setpoints", True),
    ("P1", "P1/state", True),
    ("P1", "P1/alarm", False),
    ("P1", "P2/shot", False),
    ("P1", "gauging", False),
    ("P1", "collector/state", False),
    ("P2", "P2/shot", True),
    ("P2", "P1/shot", False),
    ("gauges", "gauging", True),
    ("gauges", "P1/shot", False),
    ("gauges", "gauges/shot", False),
    ("light", "P1/shot", False),
    ("light", "P1/alarm", False),
    ("light", "light/shot", False),
    ("collector", "P1/alarm", True),
    ("collector", "collector/state", True),
]


@pytest.mark.parametrize(("user", "topic", "allowed"), RIGHTS)
def test_each_user_writes_what_is_its_own(broker: Broker, user: str, topic: str, allowed: bool) -> None:
    with signed_in(broker, user) as client:
        assert may_write(client, f"{SITE}/{topic}") is allowed


@pytest.mark.parametrize(
    ("user", "topic", "heard"),
    [
        ("light", f"{SITE}/P1/alarm", {"P1/alarm"}),
        ("light", f"{SITE}/P1/setpoints", set()),
        ("light", "#", {"P1/alarm", "P2/alarm"}),
        ("P1", f"{SITE}/P1/alarm", {"P1/alarm"}),
        ("P1", f"{SITE}/P2/alarm", set()),
        ("P2", "#", {"P2/alarm"}),
        ("gauges", "#", set()),
        ("collector", "#", {"P1/alarm", "P2/alarm", "P1/setpoints"}),
    ],
)
def test_each_user_reads_what_it_needs(broker: Broker, user: str, topic: str, heard: set[str]) -> None:
    with signed_in(broker, "collector") as writer:
        for kept in ("P1/alarm", "P2/alarm", "P1/setpoints"):
            writer.publish(f"{SITE}/{kept}", b"{}", qos=1, retain=True).wait_for_publish(5)
    with signed_in(broker, user) as client:
        assert reads(client, topic) == {f"{SITE}/{each}" for each in heard}


def test_a_stranger_and_a_wrong_password_are_refused(broker: Broker) -> None:
    for user, password in (("stranger", "x"), ("P1", "two:with:colons"), ("collector", "")):
        with pytest.raises(ConnectionError, match=r"(?i)not authorized"), signed_in(
            broker, user, password=password
        ):
            raise AssertionError(f"{user} was let in")


def test_a_certificate_gives_the_rights_of_its_name(broker: Broker) -> None:
    with certified(broker, "P1") as client:
        assert may_write(client, f"{SITE}/P1/shot")
        assert not may_write(client, f"{SITE}/P2/shot")
    with certified(broker, "light") as client:
        assert not may_write(client, f"{SITE}/P1/shot")


def test_without_a_certificate_nobody_gets_in_by_the_encrypted_port(broker: Broker) -> None:
    client = new_client()
    client.tls_set(str(broker.folder / "certificates" / "ca.crt"))
    client.username_pw_set("collector", PASSWORDS["collector"])

    with pytest.raises(AssertionError, match="in time"), connected(client, broker.encrypted):
        pass


def test_passwords_are_kept_hashed_and_for_the_broker_alone(broker: Broker) -> None:
    data = broker.folder / "mosquitto" / "data"

    assert not any(secret in (data / "passwords").read_text() for secret in ("c-secret", "two:with"))
    for name in ("passwords", "access", "broker.key"):
        assert (data / name).stat().st_mode & 0o077 == 0
