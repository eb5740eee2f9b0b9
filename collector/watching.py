"""The watched folders of the settings, looked at again and again while the service runs."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import UserError
from collector.folder_watch import FolderWatch
from collector.settings import Settings, settings_path
from collector.settings_folders import WatchedFolder
from collector.sources import profiles

log = logging.getLogger("evenrun.folders")

LOOK_S = 1.0


class ConfiguredWatch:
    """A watched folder of the settings, which begins to be watched once its profile can be read.

    Parameters
    ----------
    name : str
        Which entry of the settings it is.
    begin : callable
        Reads the profile; UserError when it cannot be read.
    """

    def __init__(self, name: str, begin: Callable[[], FolderWatch]) -> None:
        self._name = name
        self._begin = begin
        self._watch: FolderWatch | None = None
        self._trouble = ""
        self._open()

    def troubles(self) -> list[str]:
        """As of :class:`FolderWatch`, or why it is not watched."""
        return [self._trouble] if self._watch is None else self._watch.troubles()

    def look(self, now_s: float, stop: threading.Event) -> int:
        """As of :class:`FolderWatch`; 0 while its profile cannot be read."""
        watch = self._watch or self._open()
        return 0 if watch is None else watch.look(now_s, stop)

    def _open(self) -> FolderWatch | None:
        try:
            self._watch = self._begin()
        except UserError as error:
            trouble = f"{self._name} is not watched until its setting profile is right: {error}"
            if trouble != self._trouble:
                log.warning("%s", trouble)
            self._trouble = trouble
        return self._watch


def open_watches(engine: sa.Engine, settings: Settings, clock: ServiceClock) -> list[ConfiguredWatch]:
    """The watched folders of the settings; paths in them are beside the settings file."""
    beside = settings_path().parent
    return [
        ConfiguredWatch(
            f"[[folders]] number {number}, path {each.path},",
            partial(_open, engine, settings, each, beside, clock),
        )
        for number, each in enumerate(settings.folders, start=1)
    ]


def _open(
    engine: sa.Engine, settings: Settings, folder: WatchedFolder, beside: Path, clock: ServiceClock
) -> FolderWatch:
    own = beside / folder.profile
    profile = profiles.load(str(own) if own.is_file() else folder.profile)
    found = folder.model_copy(update={"path": beside / folder.path})
    return FolderWatch(engine, settings, found, profile, clock)


def watch_until(
    watches: Sequence[FolderWatch | ConfiguredWatch],
    stop: threading.Event,
    *,
    imported: Callable[[], None] = lambda: None,
    may_look: Callable[[], bool] = lambda: True,
    monotonic: Callable[[], float] = time.monotonic,
) -> None:
    """Look at the folders once a second until `stop` is set; `imported` is called when files were taken.

    Of several collectors that see one folder, only the one that `may_look` takes its files.
    """
    while not stop.is_set():
        if not may_look():
            stop.wait(LOOK_S)
            continue
        if sum([each.look(monotonic(), stop) for each in watches]):
            imported()
        stop.wait(LOOK_S)


@contextmanager
def watching(
    watches: Sequence[FolderWatch | ConfiguredWatch],
    *,
    imported: Callable[[], None],
    may_look: Callable[[], bool] = lambda: True,
) -> Iterator[None]:
    """Watch in a thread while the block runs; at its end an import ends after the rows in hand."""
    stop = threading.Event()
    thread = threading.Thread(
        target=watch_until, args=(watches, stop), kwargs={"imported": imported, "may_look": may_look},
        name="folders", daemon=True,
    )  # fmt: skip
    if watches:
        thread.start()
    try:
        yield
    finally:
        stop.set()
        if watches:
            thread.join(timeout=10.0)
