"""`evenrun import`: a press export, or a list of gaugings, from a CSV file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress

from collector.cli import import_watch
from collector.cli.moments import minute
from collector.contract.times import from_text
from collector.errors import UserError
from collector.importing import Imported, import_csv
from collector.service import service_clock
from collector.settings import load_settings
from collector.sources import inspection, profiles
from collector.sources.inspection.proposal import Kind
from collector.store import database


def import_file(  # noqa: PLR0917 - the options of a command
    file: Annotated[Path | None, typer.Argument(help="The CSV file.", show_default=False)] = None,
    profile: Annotated[
        str | None,
        typer.Option(help="TOML file that says what the columns mean, or the name of one that comes along."),
    ] = None,
    press: Annotated[str | None, typer.Option(help="Press of the file; by default the profile's.")] = None,
    run: Annotated[str | None, typer.Option(help="Run of the file; by default the profile's.")] = None,
    propose: Annotated[  # noqa: FBT002 - a flag of the command line
        bool, typer.Option("--propose", help="Store nothing: look at the file and propose a profile for it.")
    ] = False,
    profile_out: Annotated[
        Path | None, typer.Option(help="With --propose: file to write the profile to; none that exists.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option(help="With --propose: shots or gaugings, where a person knows better.")
    ] = None,
    start: Annotated[
        str | None,
        typer.Option(help="With --propose, for a file without times: end of the first shot, with its zone."),
    ] = None,
    watch: Annotated[
        Path | None,
        typer.Option(help="Instead of one file: a folder whose files are imported as they come."),
    ] = None,
    pattern: Annotated[str, typer.Option(help="With --watch: names of the files that are taken.")] = "*.csv",
    interval_s: Annotated[
        float | None,
        typer.Option(help="With --propose, for a file without times: seconds from shot to shot.", min=0.001),
    ] = None,
) -> None:
    """Import shots or gaugings from a CSV file into the store of the settings.

    A profile says how the file is written and what its columns mean; `cap-press` and `cap-projector` come
    along as examples to copy, and --propose writes one for a file that nobody has described yet, with a
    comment at each guess. A row that cannot be read is refused with its reason, kept, and stops nothing.
    Importing a file again repeats nothing. With --watch, a file is taken once it has not changed for five
    seconds and moved to the folder done, or, with a list of its refusals, to the folder refused.
    """
    if watch is not None:
        if file is not None or propose:
            raise UserError("--watch takes a folder instead of a file; leave out the file and --propose")
        import_watch.watch(watch, profile, pattern=pattern, press=press, run=run)
        return
    if file is None:
        raise UserError("no file is named; give its path, or a folder with --watch")
    if propose:
        known = inspection.Known(
            zone=load_settings().time_zone, now=datetime.now(UTC), press=press, run=run, kind=_kind(kind),
            start=_start(start), interval_s=interval_s,
        )
        _propose(file, profile_out, known)
        return
    if profile is None:
        raise UserError(
            f"no profile is named for {file.name}; give --profile, or have one proposed with --propose"
        )
    done = _import(file, profile, press=press, run=run)
    _report(file, done)
    if done.counts.refused and not done.accepted:
        raise typer.Exit(1)


def _import(file: Path, profile: str, *, press: str | None, run: str | None) -> Imported:
    settings = load_settings()
    chosen = profiles.load(profile)
    engine = database.open_engine(settings.database_url)
    database.upgrade(engine)
    bar = Progress(console=Console(stderr=True), transient=True)
    task = bar.add_task(f"Importing {file.name}", total=_rows(file))
    try:
        with bar:
            return import_csv(
                engine, settings, file, chosen, profile_name=profile, clock=service_clock(engine),
                press=press, run=run, progress=lambda rows: bar.advance(task, rows),
            )
    except KeyboardInterrupt as stopped:
        raise UserError(
            f"{file.name}: ended after {bar.tasks[task].completed:.0f} rows, which are stored; "
            "import it again, and the rest follows"
        ) from stopped
    finally:
        engine.dispose()


def _kind(text: str | None) -> Kind | None:
    kinds: dict[str, Kind] = {"shots": "shots", "gaugings": "gaugings"}
    if text is None or text in kinds:
        return None if text is None else kinds[text]
    raise UserError(f"--kind {text} is none; give shots or gaugings")


def _start(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        return from_text(text)
    except ValueError as error:
        raise UserError(
            f"--start {text} is no time with a zone; give one such as 2022-05-04T08:00:00Z"
        ) from error


def _propose(file: Path, profile_out: Path | None, known: inspection.Known) -> None:
    if profile_out is not None and profile_out.exists():
        raise UserError(f"{profile_out} exists already; give --profile-out another name, or move it away")
    proposal = inspection.propose(file, known)
    text = inspection.as_toml(proposal)
    if profile_out is None:
        typer.echo(text, nl=False)
    else:
        _write(profile_out, text)
    checks = proposal.checks()
    typer.echo(f"{file.name}: a profile of {proposal.kind}, {len(checks)} guesses to check", err=True)
    for sentence in checks:
        typer.echo(f"  check: {sentence}", err=True)


def _write(profile_out: Path, text: str) -> None:
    try:
        profile_out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UserError(f"{profile_out} cannot be written ({error.strerror}); give another path") from error


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
            f"the same file was imported on {minute(done.before)}; nothing known is taken again"
        )
    typer.echo(f"{file.name}: {done.told()}")
    if counts.waiting:
        typer.echo(f"  {counts.waiting} of the gaugings wait for their disc: no stored shot fits them yet")
    for sentence in done.sentences:
        typer.echo(f"  refused: {sentence}")
    if counts.refused > len(done.sentences):
        typer.echo(f"  and {counts.refused - len(done.sentences)} more, all kept in the store")
