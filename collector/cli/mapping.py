"""`evenrun mapping test`: what recorded messages would become."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress

from collector.cli.heard_report import report
from collector.contract.mapping_read import Mappings, check_together
from collector.errors import UserError
from collector.listening import Trial
from collector.pipeline import intake_policy
from collector.settings import load_settings
from collector.settings_mapping import read_mapping_file
from collector.sources.recorded import read_recorded


def mapping(
    action: Annotated[str, typer.Argument(help="test: the one thing to do so far.", show_default=False)],
    file: Annotated[
        Path, typer.Argument(help="Messages recorded by `evenrun listen --record`.", show_default=False)
    ],
    mappings: Annotated[
        Path | None, typer.Option(help="TOML file with [[mapping]] tables to try instead of the settings'.")
    ] = None,
) -> None:
    """Show what recorded messages would become: how many are shots, what is refused and why.

    Nothing is stored. Times are judged as if each message arrived now as it did then. Ends with exit code 1
    when no message at all would be taken.
    """
    if action != "test":
        raise UserError(f"there is no `evenrun mapping {action}`; the command is `evenrun mapping test FILE`")
    settings = load_settings()
    policy = intake_policy(settings)
    if mappings is not None:
        tried = read_mapping_file(mappings)
        try:
            check_together(tried)
        except ValueError as error:
            raise UserError(f"{error}; mend it in {mappings}") from error
        policy = replace(policy, mappings=Mappings(tried, settings.site))
    trial = Trial(policy, settings.site)
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(f"Reading {file.name}", total=None)
        for heard in read_recorded(file):
            trial.add(heard)
            bar.advance(task)
    for line in report(trial):
        typer.echo(line)
    if not trial.counts()[0]:
        raise typer.Exit(1)
