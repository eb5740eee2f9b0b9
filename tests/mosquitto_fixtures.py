"""A real Mosquitto broker for tests, with the settings that a floor needs.

    mosquitto      a running broker of its own, with users and a folder; it can be killed and started again

Plain `persistence true` saves every half hour, and the default queue limit drops messages without a word;
hence `autosave_interval 1` and `max_queued_messages 0`. Not `autosave_on_changes`: measured with 2.0.11, it
forgets messages that are on their way to a connected client (0 of 150 came back after a kill, against
150 of 150), and with 5,000 messages waiting it slows publishing from 0.4 s to 8 s, for every message
rewrites the whole file.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

USERS = {"collector": "collector-secret", "gateway": "gateway-secret"}


@dataclass
class Mosquitto:
    """One broker: `port`, `users`, and `start`, `kill` and `stop`."""

    folder: Path
    port: int
    users: dict[str, str] = field(default_factory=lambda: dict(USERS))
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start and wait until the port answers."""
        log = (self.folder / "mosquitto.log").open("ab")
        with log:
            self.process = subprocess.Popen(
                [binary() or "mosquitto", "-c", str(self.folder / "mosquitto.conf")], stdout=log, stderr=log
            )
        deadline = time.monotonic() + 10
        while time.monotonic() < deadline:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise RuntimeError((self.folder / "mosquitto.log").read_text())

    def kill(self) -> None:
        """End it as a power cut would."""
        assert self.process is not None, "the broker was started before"
        self.process.kill()
        self.process.wait(10)

    def stop(self) -> None:
        """End it in good order."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)


def binary() -> str | None:
    """Path of the broker's program."""
    return shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")


def free_port() -> int:
    """A port that nobody listens on right now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _write_configuration(folder: Path, port: int) -> None:
    passwords = folder / "passwords"
    passwords.write_text("".join(f"{name}:{secret}\n" for name, secret in USERS.items()))
    passwords.chmod(0o600)
    subprocess.run(["mosquitto_passwd", "-U", str(passwords)], check=True, capture_output=True)
    lines = [
        f"listener {port} 127.0.0.1",
        "allow_anonymous false",
        f"password_file {passwords}",
        "persistence true",
        f"persistence_location {folder}/",
        "autosave_interval 1",
        "max_queued_messages 0",
    ]
    if os.getuid() == 0:
        lines.append("user root")  # it would change to a user that may not read the temporary folder
    (folder / "mosquitto.conf").write_text("\n".join(lines) + "\n")


def new_broker(parent: Path) -> Mosquitto:
    """A broker that is not started yet, with its configuration in a folder of its own."""
    folder = parent / "mosquitto"
    folder.mkdir()
    port = free_port()
    _write_configuration(folder, port)
    return Mosquitto(folder, port)


def need_mosquitto() -> None:
    """Skip the test where the broker is not installed; fail it there when CI=true."""
    if binary() is None or shutil.which("mosquitto_passwd") is None:
        missing = "Mosquitto is not installed (Debian package mosquitto)"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A running broker, ended after the test."""
    need_mosquitto()
    broker = new_broker(tmp_path)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()
