"""A folder that files are put into: which of them are complete, and where they go afterward.

Only plain files of the folder itself are taken: a link may lead anywhere, so it is left alone and named. A
file is complete when neither its size nor its time has changed for a while. Nothing here opens a file.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path

from collector.errors import UserError

__all__ = ["DONE", "REFUSED", "Arrivals", "Arrived", "set_aside"]

DONE = "done"
REFUSED = "refused"

Fingerprint = tuple[int, int]  # size and time of the last change, ns


@dataclass(frozen=True, slots=True)
class Arrived:
    """A complete file, and what it looked like when it was found so."""

    path: Path
    fingerprint: Fingerprint

    def is_unchanged(self) -> bool:
        """Whether the file still is what was found."""
        try:
            return self.fingerprint == _fingerprint(self.path.lstat())
        except OSError:
            return False


@dataclass(slots=True)
class _Seen:
    fingerprint: Fingerprint
    since_s: float


class Arrivals:
    """Watches one folder.

    Parameters
    ----------
    folder : Path
    pattern : str
        Shell pattern of the names that are meant; letter case counts.
    settle_s : float
        How long a file must have stayed as it is.
    """

    def __init__(self, folder: Path, pattern: str, settle_s: float) -> None:
        self._folder = folder
        self._pattern = pattern
        self._settle_s = settle_s
        self._seen: dict[str, _Seen] = {}
        self.left_alone: dict[str, str] = {}

    def complete(self, now_s: float) -> list[Arrived]:
        """The files that have stayed as they are, the oldest first.

        `left_alone` then says what else is there that is not taken, and why.

        Parameters
        ----------
        now_s : float
            A clock that only runs forward, s.

        Raises
        ------
        UserError
            When the folder cannot be listed.
        """
        self.left_alone = {}
        found = dict(self._files())
        self._seen = {name: self._still(name, fingerprint, now_s) for name, fingerprint in found.items()}
        settled = [name for name, seen in self._seen.items() if now_s - seen.since_s >= self._settle_s]
        settled.sort(key=lambda name: (found[name][1], name))
        return [Arrived(self._folder / name, found[name]) for name in settled]

    def _still(self, name: str, fingerprint: Fingerprint, now_s: float) -> _Seen:
        before = self._seen.get(name)
        if before is not None and before.fingerprint == fingerprint:
            return before
        return _Seen(fingerprint, now_s)

    def _files(self) -> Iterator[tuple[str, Fingerprint]]:
        try:
            with os.scandir(self._folder) as entries:
                for entry in entries:
                    if not fnmatchcase(entry.name, self._pattern) or entry.name.startswith("."):
                        continue
                    if entry.is_symlink():
                        self.left_alone[entry.name] = "is a link; copy the file itself"
                    elif not entry.name.isprintable():
                        self.left_alone[ascii(entry.name)] = "has signs that cannot be shown; rename it"
                    elif entry.is_file(follow_symlinks=False):
                        yield entry.name, _fingerprint(entry.stat(follow_symlinks=False))
        except FileNotFoundError as error:
            if not self._folder.is_dir():
                raise _unlisted(self._folder, error) from error
            # Else a file went away while it was looked at: the next look tells.
        except OSError as error:
            raise _unlisted(self._folder, error) from error


def _unlisted(folder: Path, error: OSError) -> UserError:
    return UserError(
        f"the watched folder {folder} cannot be listed ({error.strerror}); make it, or mend its path"
    )


def _fingerprint(found: os.stat_result) -> Fingerprint:
    return found.st_size, found.st_mtime_ns


def place_in(folder: Path, name: str) -> Path:
    """A path in a folder that is made if need be; where the name is taken, one with a number.

    Raises
    ------
    OSError
        When the folder cannot be made, or is a link to elsewhere.
    """
    if folder.is_symlink():
        raise OSError(None, "it is a link to elsewhere", str(folder))
    folder.mkdir(exist_ok=True)
    plain = Path(name)
    names = (name, *(f"{plain.stem}.{number}{plain.suffix}" for number in range(2, 100_000)))
    return folder / next(each for each in names if not os.path.lexists(folder / each))


def set_aside(file: Arrived, into: str) -> Arrived | None:
    """Move a file into a folder beside it; a file of that name is left as it is.

    Returns
    -------
    Arrived or None
        The file where it lies now; None when it was another one by the time it was moved, and was put back.

    Raises
    ------
    OSError
        When it cannot be moved.
    """
    folder, name = file.path.parent, file.path.name
    moved = Arrived(place_in(folder / into, name), file.fingerprint)
    file.path.rename(moved.path)
    if moved.is_unchanged():
        return moved
    moved.path.rename(place_in(folder, name))
    return None
