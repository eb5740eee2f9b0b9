"""The command `evenrun dashboard`: the screens as a web server."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from collector.errors import SettingsError
from collector.settings import load_settings

HERE = Path(__file__).parent


def server_command(
    host: str, port: int, *, certificate: Path | None = None, key: Path | None = None
) -> list[str]:
    """The command line that serves the screens; the demo starts the same one as its child."""
    options = {
        "server.address": host,
        "server.port": str(port),
        "server.headless": "true",
        "server.fileWatcherType": "none",
        "browser.gatherUsageStats": "false",
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "type",
        "client.showErrorLinks": "false",
        "theme.base": str(HERE / "theme.toml"),
    }
    if certificate is not None and key is not None:
        options |= {"server.sslCertFile": str(certificate), "server.sslKeyFile": str(key)}
    flags = [f"--{name}={value}" for name, value in options.items()]
    # -P: a file of the working folder must never take the place of a module.
    return [sys.executable, "-P", "-m", "streamlit", "run", str(HERE / "server.py"), *flags]


def dashboard(
    host: Annotated[
        str | None, typer.Option(help="address to serve on; default: setting dashboard_host")
    ] = None,
    port: Annotated[int | None, typer.Option(help="port; default: setting dashboard_port")] = None,
) -> None:
    """Serve the screens: floor, press, limits, alarms, gauging, dome, service, run audit, people.

    Open the printed address in a browser; it is the floor screen, for a wall (add ?theme=dark for a dark
    one). The other screens are at /press, /limits, /alarms, /gauging, /dome, /service, /run_audit and
    /people. Reads the store that the setting database_url names; without a running collector the floor says
    so. The first start prints the code with which the first admin makes an account. Ctrl-C ends it.
    """
    settings = load_settings()
    address, number = host or settings.dashboard_host, port or settings.dashboard_port
    certificate, key = settings.dashboard_certificate_file, settings.dashboard_key_file
    if (certificate is None) != (key is None):
        raise SettingsError("dashboard_certificate_file and dashboard_key_file go together; set both or none")
    typer.echo(f"evenrun dashboard: {'http' if certificate is None else 'https'}://{address}:{number}")
    sys.stdout.flush()
    command = server_command(address, number, certificate=certificate, key=key)
    # The server takes this process's place, so a signal to it reaches the server and nothing is left behind.
    os.execv(command[0], command)  # noqa: S606
