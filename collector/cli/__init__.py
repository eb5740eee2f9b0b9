"""The command table: command name -> "package.module:function", loaded when called.

This table is the one place where `collector` names its downstream packages: a string costs no import,
so `evenrun check` starts without Streamlit and the import directions hold.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Sequence
from importlib.metadata import version
from typing import Any

import click
import typer
import typer.main

from collector.errors import EvenrunError

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("simulator.demo:demo", "Run the whole service with two simulated presses and open the floor screen."),
    "collect": ("collector.cli.collect:collect", "Take shots from the broker, chart them, raise alarms."),
    "dashboard": ("dashboard.cli:dashboard", "Serve the screens: floor, presses, alarms, gauging, dome, audit."),
    "import": ("collector.cli.import_file:import_file", "Import a press export or a list of gaugings from a CSV file."),
    "audit": ("dashboard.audit.cli:audit", "Write the audit of one run as a self-contained HTML file."),
    "check": ("collector.cli.check:check", "Run one control chart over a column of a CSV file."),
    "run-length": ("collector.cli.run_length:run_length", "Average run length of a chart, in shots."),
    "simulate": ("simulator.cli:simulate", "Make shots of a simulated press, to a file or to a broker."),
    "broker": ("collector.cli.broker:broker", "Run the built-in MQTT broker as a process of its own."),
}


def load(target: str) -> Callable[..., Any]:
    """Import "package.module:function" and return the function."""
    module, _, name = target.partition(":")
    function: Callable[..., Any] = getattr(importlib.import_module(module), name)
    return function


class LazyGroup(click.Group):
    """A command group that imports a command's module when the command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        target, summary = COMMANDS[cmd_name]
        return _command(cmd_name, load(target), summary)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, summary) in COMMANDS.items()])


def _command(name: str, function: Callable[..., Any], summary: str) -> click.Command:
    app = typer.Typer(add_completion=False, rich_markup_mode=None)
    app.command(name, help=function.__doc__ or summary)(function)
    return typer.main.get_command(app)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(version("evenrun"), prog_name="evenrun")
def cli() -> None:
    """Watch the shots of a disc-molding floor, notice drift, hold the discs it touched, audit a run.

    Start with `evenrun demo`: it needs no press, no broker and no database.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; a known error is one sentence on standard error and exit code 2."""
    try:
        cli.main(args=list(arguments) if arguments is not None else None, prog_name="evenrun")
    except EvenrunError as error:
        sys.stderr.write(f"evenrun: {error}\n")
        sys.exit(2)
