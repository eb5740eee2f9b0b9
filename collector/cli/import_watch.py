"""`evenrun import --watch`: a folder whose files are imported as they come, without a collector."""

from __future__ import annotations

import logging
import threading
from pathlib import Path

from collector.cli.moments import log_in_utc
from collector.errors import UserError
from collector.folder_watch import FolderWatch
from collector.service import service_clock, stopping_on_signals
from collector.settings import load_settings
from collector.settings_folders import WatchedFolder
from collector.sources import profiles
from collector.store import database
from collector.watching import watch_until

__all__ = ["watch"]


def watch(folder: Path, profile: str | None, *, pattern: str, press: str | None, run: str | None) -> None:
    """Import the files of a folder until SIGINT or SIGTERM.

    Raises
    ------
    UserError
        When there is no such folder, no profile is named, or the pattern leads out of the folder.
    """
    if profile is None:
        raise UserError(f"no profile is named for the files in {folder}; give --profile")
    if not folder.is_dir():
        raise UserError(f"there is no folder {folder}; make it, or mend its path")
    try:
        watched = WatchedFolder(path=folder, profile=profile, pattern=pattern, press=press, run=run)
    except ValueError as error:
        raise UserError(f"--pattern {pattern} leads out of the folder; give one such as *.csv") from error
    log_in_utc("%(asctime)s %(message)s")
    logging.getLogger("alembic").setLevel(logging.WARNING)
    settings, chosen, stop = load_settings(), profiles.load(profile), threading.Event()
    engine = database.open_engine(settings.database_url)
    try:
        database.upgrade(engine)
        watches = [FolderWatch(engine, settings, watched, chosen, service_clock(engine))]
        logging.getLogger("evenrun.folders").info("watches %s for %s; Ctrl-C ends it", folder, pattern)
        with stopping_on_signals(stop):
            watch_until(watches, stop)
    finally:
        engine.dispose()
