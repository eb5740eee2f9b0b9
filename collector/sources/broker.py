"""The embedded MQTT broker, for the demo and for a shop with one computer.

It speaks MQTT 3.1.1 and keeps sessions and their messages in memory: a collector may be away, the
broker may not. A floor that must not lose shots when a computer restarts runs Mosquitto instead.
"""

from __future__ import annotations

import asyncio
import logging
import os
import signal
import socket
import sys
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher

from collector.errors import UserError

SESSION_EXPIRY_S = 72 * 3600


def run_broker(
    *, host: str, port: int, users: dict[str, str], ready: Callable[[int], None] | None = None
) -> None:
    """Serve until interrupted or terminated.

    Parameters
    ----------
    host, port : str, int
        Address to listen on; port 0 takes a free one.
    users : dict of str to str
        Password by user name. There is no anonymous access: the broker keeps no session for it.
    ready : callable, optional
        Called with the port once clients can connect; by default a line on standard output says so.

    Raises
    ------
    UserError
        When the address cannot be used or no user is given.
    """
    _check_users(users)
    port = _bindable(host, port)
    logging.getLogger("transitions").setLevel(logging.WARNING)
    # A client that tries MQTT 5 first is no event, and amqtt has no quieter word for it than a warning.
    logging.getLogger("amqtt.broker").setLevel(logging.ERROR)
    with tempfile.TemporaryDirectory(prefix="evenrun-broker-") as folder:
        password_file = _write_password_file(Path(folder), users)
        asyncio.run(_serve(host, port, password_file, ready or partial(_say_ready, host)))


def _say_ready(host: str, port: int) -> None:
    sys.stdout.write(f"evenrun broker ready on {host}:{port}\n")
    sys.stdout.flush()


def _check_users(users: dict[str, str]) -> None:
    if not users or not all(users.values()):
        raise UserError("the broker needs a user with a password; give --user and EVENRUN_BROKER__PASSWORD")
    for name in users:
        if not name or ":" in name or not name.isprintable() or name.strip() != name or name[0] == "#":
            raise UserError(f"the broker's user name {name!r} cannot be used; take letters and digits only")


def _bindable(host: str, port: int) -> int:
    """The port to listen on, after making sure that it is free; a free one for 0."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise UserError(
                f"the broker cannot listen on {host}:{port} ({error.strerror}); choose another with --port"
            ) from error
        number: int = probe.getsockname()[1]
        return number


def _write_password_file(folder: Path, users: dict[str, str]) -> Path:
    path = folder / "passwords"
    hasher = PasswordHasher()
    lines = [f"{name}:{hasher.hash(password)}\n" for name, password in users.items()]
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.writelines(lines)
    return path


def configuration(host: str, port: int, password_file: Path) -> dict[str, Any]:
    """Configuration of the broker: one listener, users from a file, sessions kept for three days."""
    return {
        "listeners": {"default": {"type": "tcp", "bind": f"{host}:{port}"}},
        "session_expiry_interval": SESSION_EXPIRY_S,
        "plugins": {"amqtt.plugins.authentication.FileAuthPlugin": {"password_file": str(password_file)}},
    }


async def _serve(host: str, port: int, password_file: Path, ready: Callable[[int], None]) -> None:
    # Half a second of imports that only this process should pay.
    from collector.sources.broker_protocol import new_broker  # noqa: PLC0415

    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    broker = new_broker(configuration(host, port, password_file))
    await broker.start()
    ready(port)
    await stop.wait()
    await broker.shutdown()
