"""Watched folders: each file that comes to lie in one is imported once and moved aside.

A file whose rows were all taken goes to the folder `done` beside it. One of which rows were refused goes to
`refused`, with the list of what was refused and why; its other rows are stored. To have a mended file taken,
put it into the watched folder again: what is known already changes nothing. For the same reason it does no
harm when a collector is killed between storing and moving: it takes the file again and finds all of it known.
"""

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
from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.errors import EvenrunError, ImportRunning, StoreUnavailable, UserError
from collector.importing import Imported, import_csv
from collector.refusal_list import RefusalList
from collector.settings import Settings, settings_path
from collector.settings_folders import WatchedFolder
from collector.sources import profiles
from collector.sources.folder import DONE, REFUSED, Arrivals, Arrived, set_aside

log = logging.getLogger("evenrun.folders")

LOOK_S = 1.0

__all__ = ["ConfiguredWatch", "FolderWatch", "open_watches", "watch_until", "watching"]


class _Stopped(Exception):
    """The service ends; the file stays where it is and is taken again."""


class FolderWatch:
    """One watched folder.

    Parameters
    ----------
    engine : Engine
        An upgraded store.
    settings : Settings
    folder : WatchedFolder
        With its path and its profile as they are opened.
    profile : ShotProfile or GaugingProfile
    clock : ServiceClock
    """

    def __init__(
        self,
        engine: sa.Engine,
        settings: Settings,
        folder: WatchedFolder,
        profile: ShotProfile | GaugingProfile,
        clock: ServiceClock,
    ) -> None:
        self._engine = engine
        self._settings = settings
        self._folder = folder
        self._profile = profile
        self._clock = clock
        self._arrivals = Arrivals(folder.path, folder.pattern, folder.settle_s)
        # Files that wait for a person, as they were when that was said, and what was said.
        self._left: dict[Path, tuple[Arrived, str]] = {}
        self._said: frozenset[str] = frozenset()
        self._troubles: list[str] = []

    def troubles(self) -> list[str]:
        """What keeps files from being taken, one sentence each; a link or an odd name is in the log only."""
        left = list(self._left.items())  # at once, because another thread asks
        return [*self._troubles, *(said for path, (_, said) in left if path.exists())]

    def look(self, now_s: float, stop: threading.Event) -> int:
        """Import the files that are complete.

        Parameters
        ----------
        now_s : float
            A clock that only runs forward, s.
        stop : threading.Event
            Ends an import after the rows in hand.

        Returns
        -------
        int
            How many files were imported.
        """
        taken = 0
        troubles: list[str] = []
        try:
            for each in self._arrivals.complete(now_s):
                if self._left.get(each.path, (None,))[0] != each and not stop.is_set():
                    try:
                        taken += self._take(each, stop)
                    except ImportRunning as error:  # the other files of the folder need not wait for it
                        troubles.append(f"{each.path} waits: {error}")
        except StoreUnavailable as error:
            troubles.append(f"the files in {self._folder.path} wait: {error}")
        except UserError as error:
            troubles.append(str(error))
        self._troubles = troubles
        odd = sorted(self._arrivals.left_alone.items())
        self._say([*troubles, *(f"{name} in {self._folder.path} {why}." for name, why in odd)])
        return taken

    def _say(self, sentences: Sequence[str]) -> None:
        """Say what goes on being wrong once, and again only when it was right in between."""
        for each in sentences:
            if each not in self._said:
                log.warning("%s", each)
        self._said = frozenset(sentences)

    def _take(self, arrived: Arrived, stop: threading.Event) -> bool:
        """Import one file and move it; whatever is wrong with it, it stays where it is and is named once."""
        try:
            done, listed = self._import(arrived, stop)
        except _Stopped:
            return False
        except (StoreUnavailable, ImportRunning):
            raise
        except EvenrunError as error:
            self._leave(arrived, str(error))
            return False
        except Exception:  # whatever it is, the files after it must still be taken
            sentence = f"{arrived.path} cannot be digested; it stays until it changes or evenrun starts anew"
            log.exception("%s", sentence)
            self._left[arrived.path] = arrived, sentence
            return False
        if not arrived.is_unchanged():
            listed.drop()
            return True  # it went on growing, so it is taken again when it has settled
        self._move(arrived, done, listed)
        return True

    def _import(self, arrived: Arrived, stop: threading.Event) -> tuple[Imported, RefusalList]:
        def still_going(_rows: int) -> None:
            if stop.is_set():
                raise _Stopped

        with RefusalList(arrived.path.parent / REFUSED, arrived.path.name) as listed:
            done = import_csv(
                self._engine, self._settings, arrived.path, self._profile,
                profile_name=self._folder.profile, clock=self._clock, press=self._folder.press,
                run=self._folder.run, progress=still_going, refused=listed.add,
            )  # fmt: skip
        return done, listed

    def _move(self, arrived: Arrived, done: Imported, listed: RefusalList) -> None:
        into = REFUSED if done.counts.refused else DONE
        try:
            listed.keep()
            moved = set_aside(arrived.path, into)
        except OSError as error:
            self._leave(
                arrived,
                f"{arrived.path} was imported ({done.told()}) but cannot be moved to {into} "
                f"({error.strerror}); give the collector the right to write there",
            )
            return
        self._left.pop(arrived.path, None)
        say = log.warning if done.counts.refused else log.info
        first = f", the first because {done.sentences[0].rstrip('.')}" if done.sentences else ""
        say("%s: %s%s; it now lies in %s", arrived.path.name, done.told(), first, moved.parent)

    def _leave(self, arrived: Arrived, sentence: str) -> None:
        log.warning("%s", sentence)
        self._left[arrived.path] = arrived, sentence


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
