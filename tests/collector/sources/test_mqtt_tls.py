"""The encrypted connection: whom we trust, who we are, and what is said when it fails.

Held against a real Mosquitto and certificates that openssl makes by the README's commands.
"""

from __future__ import annotations

import socket
import ssl
import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from collector.clock import real_clock
from collector.errors import SettingsError, UserError
from collector.service import mqtt_settings
from collector.settings import Settings
from collector.sources.mqtt import MqttSource
from collector.sources.mqtt_listen import listen
from collector.sources.mqtt_tls import TlsFiles
from tests.certificates import make
from tests.collector.sources.mqtt_helpers import (
    acknowledge_all,
    gateway,
    publish,
    settings,
    source,
    wait_for,
)
from tests.mosquitto_fixtures import Mosquitto, free_port, need_mosquitto, new_broker

pytestmark = [
    pytest.mark.mosquitto,
    # After a failed handshake paho leaves its socket to the garbage collector, which closes it and warns.
    pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket"),
]


@pytest.fixture
def encrypted(tmp_path: Path, certificates: Path) -> Iterator[tuple[Mosquitto, int]]:
    """A broker, and its port where a client must have a certificate of our authority."""
    need_mosquitto()
    broker, port = new_broker(tmp_path), free_port()
    lines = (
        f"listener {port}",  # on 127.0.0.2 as well, which the certificate does not name
        f"cafile {certificates / 'ca.crt'}",
        f"certfile {certificates / 'broker.crt'}",
        f"keyfile {certificates / 'broker.key'}",
        "require_certificate true",
    )
    with (broker.folder / "mosquitto.conf").open("a") as file:
        file.write("\n".join(lines) + "\n")
    broker.start()
    yield broker, port
    broker.stop()


def files(folder: Path, name: str = "collector") -> TlsFiles:
    return TlsFiles(
        ca_file=folder / "ca.crt", certificate_file=folder / f"{name}.crt", key_file=folder / f"{name}.key"
    )


def problem_of(port: int, says: str, **changes: object) -> str:
    opened = MqttSource(settings(port, **changes), clock=lambda: datetime.now(UTC), random=Random(1))
    opened.start()
    try:
        wait_for(lambda: says in (opened.problem or ""), 20)
        assert not opened.connected
        return opened.problem or ""
    finally:
        opened.close()


def test_messages_arrive_over_tls_with_a_certificate_on_both_sides(
    encrypted: tuple[Mosquitto, int], certificates: Path
) -> None:
    broker, port = encrypted
    with source(port, tls=files(certificates)) as opened, gateway(broker.port) as client:
        publish(client, range(100))
        assert acknowledge_all(opened, 100) == list(range(100))

        assert opened.protocol == "5"


def test_what_goes_over_the_wire_cannot_be_read(
    encrypted: tuple[Mosquitto, int], certificates: Path
) -> None:
    """A relay between the two sees neither the password nor the topic; on the plain port it sees both."""
    broker, port = encrypted
    assert b"collector-secret" in overheard(broker.port)
    seen = overheard(port, tls=files(certificates))

    assert len(seen) > 1000
    assert b"collector-secret" not in seen
    assert b"lowland" not in seen


def overheard(port: int, **changes: object) -> bytes:
    """The first bytes that a source sends to a listener which answers nothing or, encrypted, passes on."""
    seen = bytearray()
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(5)
        opened = MqttSource(
            settings(server.getsockname()[1], protocol="5", **changes),
            clock=lambda: datetime.now(UTC), random=Random(1),
        )
        opened.start()
        ours, _ = server.accept()
        with ours, socket.create_connection(("127.0.0.1", port)) as broker:
            for each in (ours, broker):
                each.settimeout(0.3)
            for _ in range(6):
                seen += passed(ours, broker)
                passed(broker, ours)
        opened.close()
    return bytes(seen)


def passed(a: socket.socket, b: socket.socket) -> bytes:
    try:
        data = a.recv(65536)
        b.sendall(data)
    except OSError:
        return b""
    return data


def test_a_broker_that_another_authority_vouches_for_is_not_trusted(
    encrypted: tuple[Mosquitto, int], tmp_path: Path
) -> None:
    others = make(tmp_path / "others")

    said = problem_of(encrypted[1], "certificate", tls=files(others))

    assert "is not trusted" in said
    assert "check broker.tls.ca_file" in said


def test_a_certificate_for_another_host_is_not_accepted(
    encrypted: tuple[Mosquitto, int], certificates: Path
) -> None:
    said = problem_of(encrypted[1], "certificate", tls=files(certificates), host="127.0.0.2")

    assert "not for 127.0.0.2" in said


def test_without_a_client_certificate_it_says_that_the_broker_may_ask_for_one(
    encrypted: tuple[Mosquitto, int], certificates: Path
) -> None:
    only_ca = TlsFiles(ca_file=certificates / "ca.crt")

    assert "client certificate" in problem_of(encrypted[1], "client certificate", tls=only_ca)


def test_plain_to_an_encrypted_port_and_the_other_way_round_are_told_apart(
    encrypted: tuple[Mosquitto, int], certificates: Path
) -> None:
    broker, port = encrypted

    assert "we are not encrypted" in problem_of(port, "hung up without an answer")
    assert "encrypted port" in problem_of(broker.port, "no connection", tls=files(certificates))


def test_an_old_version_of_tls_is_refused(certificates: Path) -> None:
    # RFC 8996 (2021) retires TLS 1.0 and 1.1.
    assert files(certificates).context().minimum_version >= ssl.TLSVersion.TLSv1_2
    assert files(certificates).context().check_hostname


def test_listening_is_encrypted_too(encrypted: tuple[Mosquitto, int], certificates: Path) -> None:
    broker, port = encrypted
    how = settings(port, tls=files(certificates))
    with gateway(broker.port) as client:
        publish(client, range(1))
        heard = listen(
            how, ("#",), seconds=1.0, clock=real_clock(),
            ready=lambda: publish(client, range(3)),
        )
        assert len(list(heard)) == 3

    with pytest.raises(UserError, match=r"not for 127\.0\.0\.2"):
        list(listen(
            settings(port, tls=files(certificates), host="127.0.0.2"), ("#",), seconds=1.0,
            clock=real_clock(), ready=lambda: None,
        ))


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"ca_file": "none.pem"}, r"none\.pem cannot be read .*; mend broker\.tls\.ca_file"),
        ({"ca_file": "collector.key"}, r"holds no certificate in PEM; mend broker\.tls\.ca_file"),
        ({"certificate_file": "none.pem"}, r"cannot be read .*; mend broker\.tls\.certificate_file"),
        ({"key_file": "none.pem"}, r"cannot be read .*; mend broker\.tls\.key_file"),
        ({"key_file": "P1.key"}, "are no certificate with its unencrypted key"),
        ({"key_file": "locked.key"}, "unencrypted key"),
    ],
)
def test_a_file_that_cannot_be_used_ends_the_start_in_one_sentence(
    certificates: Path, changed: dict[str, str], says: str
) -> None:
    if not (certificates / "locked.key").exists():
        lock(certificates)
    names = {"ca_file": "ca.crt", "certificate_file": "collector.crt", "key_file": "collector.key", **changed}
    tls = {name: certificates / value for name, value in names.items()}

    with pytest.raises(SettingsError, match=says):
        mqtt_settings(Settings(broker={"tls": tls}))  # type: ignore[arg-type]


def lock(folder: Path) -> None:
    """A key with a password, which openssl would ask for on the terminal."""
    subprocess.run(
        ["openssl", "pkey", "-in", "collector.key", "-aes256", "-passout", "pass:x", "-out", "locked.key"],
        cwd=folder, check=True, capture_output=True,
    )


@pytest.mark.parametrize("lone", ["certificate_file", "key_file"])
def test_a_lone_certificate_is_a_mistake(lone: str, certificates: Path) -> None:
    with pytest.raises(ValueError, match="is of no use without"):
        Settings(broker={"tls": {lone: certificates / "collector.crt"}})  # type: ignore[arg-type]


def test_a_renewed_certificate_is_used_at_the_next_connection(
    encrypted: tuple[Mosquitto, int], certificates: Path, tmp_path: Path
) -> None:
    (tmp_path / "own").mkdir()
    wrong, own = make(tmp_path / "wrong"), tmp_path / "own"
    for name in ("ca.crt", "collector.crt", "collector.key"):
        (own / name).write_bytes((wrong / name).read_bytes())
    opened = MqttSource(
        settings(encrypted[1], tls=files(own)), clock=lambda: datetime.now(UTC), random=Random(1)
    )
    opened.start()
    try:
        wait_for(lambda: "not trusted" in (opened.problem or ""))
        for name in ("collector.crt", "collector.key", "ca.crt"):
            (own / name).write_bytes((certificates / name).read_bytes())
        assert opened.wait_until_connected(10), opened.problem
    finally:
        opened.close()


def test_the_client_of_these_tests_checks_certificates_too(
    encrypted: tuple[Mosquitto, int], certificates: Path
) -> None:
    """paho itself, without any of our code, cannot get in without a certificate of the authority."""
    client = Client(CallbackAPIVersion.VERSION2)
    client.tls_set(ca_certs=str(certificates / "ca.crt"))
    client.username_pw_set("gateway", "gateway-secret")
    client.connect("127.0.0.1", encrypted[1])
    client.loop_start()
    try:
        with pytest.raises(AssertionError):
            wait_for(client.is_connected, 1.5)
    finally:
        client.disconnect()
        client.loop_stop()
