"""Where the demo keeps its files, and the settings that its processes read there."""

from __future__ import annotations

import os
import secrets
import socket
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from collector.errors import UserError
from collector.settings import SETTINGS_FILE, Settings, load_settings
from simulator.demo_people import Tolerance

SETTINGS = """\
# Settings of the demo, written anew at every start. The README lists every setting.
database_url = "sqlite:///{database}"
site = "lowland"
dashboard_port = {screens}

[people]
sign_in = "names"

[broker]
port = {broker}
user = "collector"
password_file = "{password}"

{tolerances}
"""
TOLERANCE = '[tolerance."{mold}".dome]\nlow = {low}\nhigh = {high}\n'


@dataclass(frozen=True, slots=True)
class Places:
    """Where the demo keeps its files."""

    folder: Path

    @property
    def database(self) -> Path:
        """The store."""
        return self.folder / "evenrun.db"

    @property
    def settings(self) -> Path:
        """The settings that every process of the demo reads."""
        return self.folder / "evenrun.toml"

    @property
    def password(self) -> Path:
        """The broker's password, made up at the first start."""
        return self.folder / "broker-password"

    @property
    def logs(self) -> Path:
        """What the processes print."""
        return self.folder / "logs"


def prepare(places: Places, port: int, dome: Mapping[str, Tolerance]) -> Settings:
    """Write the settings and the password, find free ports, and let every process read these settings only.

    Parameters
    ----------
    places : Places
    port : int
        Wanted for the screens; 0 takes a free one.
    dome : mapping of str to Tolerance
        By mold.

    Raises
    ------
    UserError
        The folder cannot be written, or the port is taken.
    """
    _own_settings_only(places)
    try:
        places.folder.mkdir(parents=True, exist_ok=True)
        if not places.password.exists():
            places.password.touch(mode=0o600)
            places.password.write_text(secrets.token_urlsafe(18), encoding="utf-8")
        places.settings.write_text(_settings(places, port, dome), encoding="utf-8")
    except OSError as error:
        raise UserError(
            f"the folder {places.folder} cannot be written ({error.strerror}); name another with --data"
        ) from error
    return load_settings()


def _settings(places: Places, port: int, dome: Mapping[str, Tolerance]) -> str:
    tolerances = "\n".join(
        TOLERANCE.format(mold=mold, low=each.low, high=each.high) for mold, each in dome.items()
    )
    return SETTINGS.format(
        database=places.database.as_posix(),
        screens=_free_port(port),
        broker=_free_port(0),
        password=places.password.as_posix(),
        tolerances=tolerances,
    )


def _own_settings_only(places: Places) -> None:
    """Let this process and its children read the demo's settings and no others.

    Variables that point a real collector at its store must never point the demo there.
    """
    for name in [name for name in os.environ if name.startswith("EVENRUN_")]:
        del os.environ[name]
    os.environ[SETTINGS_FILE] = str(places.settings)


def _free_port(wanted: int) -> int:
    """The wanted port, or a free one for 0."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", wanted))
        except OSError as error:
            raise UserError(
                f"port {wanted} is taken ({error.strerror}); end what uses it, or give another with --port"
            ) from error
        number: int = probe.getsockname()[1]
        return number
