"""`evenrun broker`: the embedded MQTT broker as a process of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from collector.errors import UserError
from collector.settings import load_settings
from collector.sources.broker import run_broker


def broker(
    host: Annotated[
        str | None, typer.Option(help="Address to listen on; the setting broker.host by default.")
    ] = None,
    port: Annotated[
        int | None, typer.Option(help="Port; the setting broker.port by default, 0 takes a free one.")
    ] = None,
    user: Annotated[
        str | None, typer.Option(help="The one user; the setting broker.user by default.")
    ] = None,
    password_file: Annotated[
        Path | None,
        typer.Option(help="File with the user's password; by default the setting broker.password."),
    ] = None,
) -> None:
    """Run the built-in MQTT broker until Ctrl-C.

    It is meant for the demo and for a shop with one computer. Every client signs in as the one user; for
    a client that is away, messages are kept in memory for three days. What is kept is lost when the
    broker itself stops, so a floor that must not lose shots runs Mosquitto.
    """
    settings = load_settings().broker
    password = settings.secret() if password_file is None else _read(password_file)
    if not password:
        raise UserError(
            "the broker needs a password; set EVENRUN_BROKER__PASSWORD or give --password-file FILE"
        )
    run_broker(
        host=settings.host if host is None else host,
        port=settings.port if port is None else port,
        users={user or settings.user: password},
    )


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8").strip()
    except OSError as error:
        raise UserError(
            f"the password file {path} cannot be read ({error.strerror}); give another with --password-file"
        ) from error
