"""`evenrun backup` and `evenrun restore`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from collector.clock import wall_now
from collector.errors import UserError
from collector.keeping import backup as backups
from collector.keeping.restore import restore as restore_copy
from collector.settings import load_settings
from collector.store import database
from collector.store.database_url import shown

MEGABYTE = 1e6


def backup(
    *,
    to: Annotated[Path | None, typer.Option(help="Folder; default: setting backup.folder.")] = None,
    list_copies: Annotated[bool, typer.Option("--list", help="Only list what is there.")] = False,
) -> None:
    """Copy the whole store into a folder, while the collector goes on.

    A copy has a note beside it that says what is in it, and `evenrun restore` checks it against that note.
    Only the newest copies stay, as many as the setting backup.keep says. With backup.folder set, the
    collector makes one every backup.every_h by itself. Settings, secrets and archived runs are files of their
    own: keep copies of those too.
    """
    settings = load_settings()
    folder = to or settings.backup.folder
    if folder is None:
        raise UserError("nothing says where backups go; give --to FOLDER or set backup.folder")
    if not list_copies:
        engine = database.open_existing(settings.database_url)
        try:
            made = backups.backup(engine, folder, wall=wall_now(), keep=settings.backup.keep)
        finally:
            engine.dispose()
        typer.echo(f"Backup: {made} ({made.stat().st_size / MEGABYTE:.1f} MB)")
        return
    for copy in backups.copies(folder):
        note = backups.note_of(copy)
        typer.echo(f"{note.made_at[:19]} UTC  {note.rows.get('shots', 0):>9,} shots  {copy}")


def restore(
    copy: Annotated[Path, typer.Argument(help="A backup, with its note beside it.")],
    *,
    to: Annotated[
        str | None, typer.Option(help="URL of the new store; default: setting database_url.")
    ] = None,
) -> None:
    """Make a store from a backup, and check that it is what was backed up.

    A store that exists is never written over. Stop the collector and the screens and move the old store away
    first, or restore into another place and look at it there with EVENRUN_DATABASE_URL.
    """
    url = to or load_settings().database_url
    rows = restore_copy(copy, url, wall=wall_now())
    typer.echo(
        f"Restored into {shown(url)}: {rows['shots']:,} shots, {rows['alarms']:,} alarms, "
        f"{rows['gaugings']:,} gaugings, {rows['journal']:,} journal entries; the journal's chain holds. "
        "Everybody signs in anew."
    )
