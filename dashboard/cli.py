"""The command `evenrun dashboard`: the screens as a web server."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from collector.settings import load_settings

HERE = Path(__file__).parent


def server_command(host: str, port: int) -> list[str]:
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
    flags = [f"--{name}={value}" for name, value in options.items()]
    # -P: a file of the working folder must never take the place of a module.
    return [sys.executable, "-P", "-m", "streamlit", "run", str(HERE / "app.py"), *flags]


def dashboard(
    host: Annotated[
        str | None, typer.Option(help="address to serve on; default: setting dashboard_host")
    ] = None,
    port: Annotated[int | None, typer.Option(help="port; default: setting dashboard_port")] = None,
) -> None:
    """Serve the screens: floor, press, limits, alarms, gauging, dome, run audit.

    Open the printed address in a browser; it is the floor screen, for a wall (add ?theme=dark for a dark
    one). The other screens are at /press, /limits, /alarms, /gauging, /dome and /run_audit. Reads the store
    that the setting database_url names; without a running collector the floor says so. Ctrl-C ends it.
    """
    settings = load_settings()
    address, number = host or settings.dashboard_host, port or settings.dashboard_port
    typer.echo(f"evenrun dashboard: http://{address}:{number}")
    sys.stdout.flush()
    command = server_command(address, number)
    # The server takes this process's place, so a signal to it reaches the server and nothing is left behind.
    os.execv(command[0], command)  # noqa: S606
