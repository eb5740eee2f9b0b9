"""A watched folder: each file that comes to lie in it is imported once and moved aside.

A file whose rows were all taken goes to the folder `done` beside it. One of which rows were refused goes to
`refused`, with the list of what was refused and why; its other rows are stored. To have a mended file taken,
put it into the watched folder again: what is known already changes nothing. For the same reason it does no
harm when a collector is killed between storing and moving: it takes the file again and finds all of it known.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Sequence
from pathlib import Path

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.errors import EvenrunError, ImportRunning, StoreUnavailable, UserError
from collector.importing import Imported, import_csv
from collector.refusal_list import RefusalList
from collector.settings import Settings
from collector.settings_folders import WatchedFolder
from collector.sources.folder import DONE, REFUSED, Arrivals, Arrived, set_aside

log = logging.getLogger("evenrun.folders")

MOST_MOVED = 20  # files that are still looked after when they were moved


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
        self._moved: dict[Path, Arrived] = {}  # the last ones, as they were then
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
        troubles += self._written_on()
        self._troubles = troubles
        odd = sorted(self._arrivals.left_alone.items())
        self._say([*troubles, *(f"{name} in {self._folder.path} {why}." for name, why in odd)])
        return taken

    def _written_on(self) -> list[str]:
        """A file that its writer kept open has rows by now that nobody has read."""
        changed = [path for path, moved in self._moved.items() if path.exists() and not moved.is_unchanged()]
        return [
            f"{path} was written on after it was imported and moved: put it back into {self._folder.path}, "
            "and set settle_s to more than the longest time between two writings"
            for path in changed
        ]

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
            moved = set_aside(arrived, into)
        except OSError as error:
            self._leave(
                arrived,
                f"{arrived.path} was imported ({done.told()}) but cannot be moved to {into} "
                f"({error.strerror}); give the collector the right to write there",
            )
            return
        self._left.pop(arrived.path, None)
        if moved is None:
            return  # another file came to its place at the last moment, and is taken when it has settled
        older = list(self._moved.items())[1 - MOST_MOVED :]
        self._moved = dict([*older, (moved.path, moved)])
        say = log.warning if done.counts.refused else log.info
        first = f", the first because {done.sentences[0].rstrip('.')}" if done.sentences else ""
        say("%s: %s%s; it now lies in %s", arrived.path.name, done.told(), first, moved.path.parent)

    def _leave(self, arrived: Arrived, sentence: str) -> None:
        log.warning("%s", sentence)
        self._left[arrived.path] = arrived, sentence
