"""The list of what was refused of a file, to lie beside it: place, reason, remedy, and the row itself."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Self, TextIO

from collector.contract.refusal import Refusal
from collector.csv_out import row_writer
from collector.errors import UserError
from collector.sources.folder import place_in

COLUMNS = ("position", "reason", "what is wrong", "what to do", "row")


class RefusalList:
    """A CSV file that is begun with the first refusal, and gets its name when it is kept.

    Parameters
    ----------
    folder : Path
        Made with the first refusal.
    name : str
        Of the file that the refusals are of.
    """

    def __init__(self, folder: Path, name: str) -> None:
        self._folder = folder
        self._name = name
        self._draft = folder / f".{name}.refusals"
        self._out: TextIO | None = None
        self._written = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        if self._out is not None:
            self._out.close()
        if kind is not None:
            self.drop()

    def add(self, refusal: Refusal) -> None:
        """Write one row.

        Raises
        ------
        UserError
            When the list cannot be written.
        """
        try:
            write = row_writer(self._out or self._begin())
            row = refusal.raw.decode("utf-8", "replace").rstrip("\r\n")
            write((refusal.position, refusal.reason, refusal.detail, refusal.remedy, row))
        except OSError as error:
            raise UserError(
                f"what was refused of {self._name} cannot be listed in {self._folder} ({error.strerror}); "
                "give the collector the right to write there"
            ) from error

    def keep(self) -> None:
        """Give the list its name beside the file; without refusals there is none.

        Raises
        ------
        OSError
            When that cannot be done.
        """
        if self._written:
            beside = place_in(self._folder, self._name)
            self._draft.replace(beside.with_name(f"{beside.name}.refusals.csv"))

    def drop(self) -> None:
        """Take the list away: the file is not done yet."""
        self._draft.unlink(missing_ok=True)

    def _begin(self) -> TextIO:
        place_in(self._folder, self._name)
        self._out = self._draft.open("w", encoding="utf-8-sig", newline="")
        self._written = True
        row_writer(self._out)(COLUMNS)
        return self._out
