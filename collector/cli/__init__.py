"""The command table: command name -> "package.module:function", loaded when called.

This table is the one place where `collector` names its downstream packages: a string costs no import,
so `evenrun check` starts without Streamlit and the import directions hold.
"""

from __future__ import annotations

import difflib
import gc
import importlib
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

import typer

from collector.errors import EvenrunError, UserError

# Objects made and not gone again. Nearly all that a batch makes goes with it, without a search for garbage;
# searching after every 700, as is usual, took a seventh of an import, and saved 3 MiB of 264 (measured).
GARBAGE_AFTER = 50_000


@dataclass(frozen=True, slots=True)
class Command:
    """One command: where its function is, and what it does in one sentence."""

    target: str
    summary: str

    def load(self) -> Callable[..., Any]:
        """Import the module and return the function."""
        module, _, name = self.target.partition(":")
        function: Callable[..., Any] = getattr(importlib.import_module(module), name)
        return function


COMMANDS: dict[str, Command] = {
    "demo": Command("simulator.demo:demo", "The whole service with simulated presses, on a fast clock."),
    "collect": Command("collector.cli.collect:collect", "Take shots from the broker, chart them, alarm."),
    "dashboard": Command("dashboard.cli:dashboard", "Serve the screens, from floor to run audit."),
    "import": Command("collector.cli.import_file:import_file", "Import shots or gaugings from a CSV file."),
    "imports": Command("collector.cli.imports:imports", "Files that were imported: undo one, name its run."),
    "gaps": Command("collector.cli.gaps:gaps", "Shots that a press counted and that never arrived."),
    "recipe": Command("collector.cli.recipe:recipe", "Recipes that shots are held against: list, qualify."),
    "refused": Command("collector.cli.refused:refused", "What could not be read, and taking it again."),
    "listen": Command("collector.cli.listen:listen", "What arrives on a broker, and what it would become."),
    "mapping": Command("collector.cli.mapping:mapping", "Try mappings of foreign JSON on recorded messages."),
    "backup": Command("collector.cli.backup:backup", "Copy the whole store, while the collector goes on."),
    "restore": Command("collector.cli.backup:restore", "Make a store from a backup, and check it."),
    "archive": Command("collector.cli.archive:archive", "Values of old runs into Parquet files, and back."),
    "audit": Command("dashboard.audit.cli:audit", "Write the audit of one run as one HTML file."),
    "check": Command("collector.cli.check:check", "Run one control chart over a column of a CSV file."),
    "budget": Command("collector.cli.budget:budget", "Charts for a false-alarm budget, and their cost."),
    "run-length": Command("collector.cli.run_length:run_length", "Average run length of a chart, in shots."),
    "simulate": Command("simulator.cli:simulate", "Make shots of a simulated press, to a file or a broker."),
    "schema": Command("collector.cli.schema:schema", "What a gateway may send, as JSON Schema or AsyncAPI."),
    "verify": Command("collector.cli.verify:verify", "Whether what is stored is what was stored."),
    "people": Command("collector.cli.people:people", "Accounts: add, list, role, disable, enable, reset."),
    "broker": Command("collector.cli.broker:broker", "Run the built-in MQTT broker as a process of its own."),
}

ABOUT = """\
Usage: evenrun COMMAND [OPTIONS]

Watch the shots of a disc-molding floor, notice drift, hold the discs it touched, audit a run.
Start with `evenrun demo`: it needs no press, no broker and no database of yours.

Commands:
{commands}

`evenrun COMMAND --help` explains one command. `evenrun --version` prints the version.
"""


def about() -> str:
    """The overview that `evenrun --help` prints."""
    width = max(map(len, COMMANDS))
    rows = (f"  {name:<{width}}  {command.summary}" for name, command in COMMANDS.items())
    return ABOUT.format(commands="\n".join(rows))


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; a known error is one sentence on standard error and exit code 2."""
    # Our matrices are small: threads for each of them, in a handful of processes, took three times as long.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(GARBAGE_AFTER)
    words = list(sys.argv[1:] if arguments is None else arguments)
    try:
        _dispatch(words)
    except EvenrunError as error:
        sys.stderr.write(f"evenrun: {error}\n")
        sys.exit(2)


def _dispatch(words: list[str]) -> None:
    if not words or words[0] in {"-h", "--help", "help"}:
        sys.stdout.write(about())
    elif words[0] == "--version":
        sys.stdout.write(f"evenrun {version('evenrun')}\n")
    else:
        _run(words[0], words[1:])


def _run(name: str, words: list[str]) -> None:
    if name not in COMMANDS:
        near = difflib.get_close_matches(name, COMMANDS, n=1)
        hint = f"did you mean {near[0]!r}?" if near else "`evenrun --help` lists the commands"
        raise UserError(f"there is no command {name!r}; {hint}")
    app = typer.Typer(
        add_completion=False,
        rich_markup_mode="markdown",  # lines of a docstring flow into paragraphs
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.command(help=None)(COMMANDS[name].load())
    _start(app, f"evenrun {name}", words)


def _start(app: typer.Typer, name: str, words: list[str]) -> None:
    """Run the command; what its options cannot be is one sentence, like every other error."""
    try:
        sys.exit(app(args=words, prog_name=name, standalone_mode=False) or 0)
    except typer.TyperException as error:
        said = error.format_message().rstrip(".").replace("\n", " ")
        raise UserError(f"{said[:1].lower()}{said[1:]}; `{name} --help` lists the options") from error
    except typer.Abort:  # the end of the input at a prompt
        sys.exit(1)
