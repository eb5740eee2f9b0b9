"""`evenrun verify`: whether what is stored is what was stored."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import sqlalchemy as sa
import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from collector.contract.figures import counted
from collector.proof import heads
from collector.proof.check import Checked, check
from collector.settings import load_settings
from collector.store import database


def verify(
    head: Annotated[
        Path | None,
        typer.Option(
            help="File with heads of the journal that was kept elsewhere; default: the exported one."
        ),
    ] = None,
) -> int:
    """Check the journal, the heads that left the store, and the digests of shots, gaugings and alarms.

    Prints one line a finding and ends with exit code 1 if there is any. A head is what the collector exports
    to the file of the setting journal.heads_file and publishes, retained, on .../collector/journal; only a
    copy kept elsewhere shows a journal that was cut off or rewritten by whoever owns this computer.
    """
    settings = load_settings()
    path = heads.file_of(settings) if head is None else head
    known = [] if head is None and not path.exists() else heads.read(path)
    engine = database.open_existing(settings.database_url)
    try:
        found = _checked(engine, known)
    finally:
        engine.dispose()
    for finding in found.findings:
        typer.echo(f"{finding[:1].upper()}{finding[1:]}.")
    typer.echo(_summary(found))
    if not known:
        typer.echo(
            f"No head from outside was checked: {path} is not there yet; the collector writes it daily."
        )
    return 1 if found.findings else 0


def _checked(engine: sa.Engine, known: list[heads.Head]) -> Checked:
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Checking")
        with database.read(engine) as conn:
            return check(
                conn, known, progress=lambda done, total: bar.update(task, completed=done, total=total)
            )


def _summary(found: Checked) -> str:
    count = len(found.findings)
    says = "Nothing was changed" if not count else counted(count, "finding")
    looked_at = {
        "entries of the journal": found.entries, "seals": found.seals, "heads": found.heads,
        "shots": found.shots, "gaugings": found.gaugings, "alarms": found.alarms,
    }  # fmt: skip
    listed = ", ".join(f"{what} {number:,}" for what, number in looked_at.items())
    return f"{says}. Looked at: {listed}. Head {found.head.hex()}."
