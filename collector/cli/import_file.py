"""`evenrun import`: a press export, or a list of gaugings, from a CSV file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress

from collector.importing import Imported, import_csv
from collector.service import service_clock
from collector.settings import load_settings
from collector.sources import profiles
from collector.store import database


def import_file(
    file: Annotated[Path, typer.Argument(help="The CSV file.", show_default=False)],
    profile: Annotated[
        str,
        typer.Option(help="TOML file that says what the columns mean, or the name of one that comes along."),
    ],
    press: Annotated[str | None, typer.Option(help="Press of the file; by default the profile's.")] = None,
    run: Annotated[str | None, typer.Option(help="Run of the file; by default the profile's.")] = None,
) -> None:
    """Import shots or gaugings from a CSV file into the store of the settings.

    A profile says how the file is written and what its columns mean; `cap-press` and `cap-projector` come
    along as examples to copy. A row that cannot be read is refused with its reason, kept, and stops
    nothing. Importing a file again repeats nothing.
    """
    settings = load_settings()
    chosen = profiles.load(profile)
    engine = database.open_engine(settings.database_url)
    database.upgrade(engine)
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(f"Importing {file.name}", total=_rows(file))
        done = import_csv(
            engine, settings, file, chosen, profile_name=profile, clock=service_clock(engine), press=press,
            run=run, progress=lambda rows: bar.advance(task, rows),
        )
    engine.dispose()
    _report(file, done)
    if done.counts.refused and not (done.counts.stored or done.counts.gaugings):
        raise typer.Exit(1)


def _rows(file: Path) -> int | None:
    try:
        with file.open("rb") as opened:
            return sum(block.count(b"\n") for block in iter(lambda: opened.read(1 << 20), b""))
    except OSError:
        return None  # the import itself says what is wrong with the file


def _report(file: Path, done: Imported) -> None:
    counts = done.counts
    if done.before is not None:
        typer.echo(
            f"the same file was imported on {done.before:%Y-%m-%d %H:%M} UTC; nothing known is taken again"
        )
    said = {
        "shots stored": counts.stored, "late shots": counts.late, "gaugings stored": counts.gaugings,
        "known before": counts.duplicates, "amended": counts.amended, "refused": counts.refused,
    }
    told = ", ".join(f"{number} {words}" for words, number in said.items() if number)
    typer.echo(f"{file.name}: {told or 'nothing in it'}")
    if counts.waiting:
        typer.echo(f"  {counts.waiting} of the gaugings wait for their disc: no stored shot fits them yet")
    for sentence in done.sentences:
        typer.echo(f"  refused: {sentence}")
    if counts.refused > len(done.sentences):
        typer.echo(f"  and {counts.refused - len(done.sentences)} more, all kept in the store")
