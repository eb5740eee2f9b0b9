"""Opening a CSV file so that every byte of it can be given back, whatever its encoding says."""

from __future__ import annotations

import codecs
from pathlib import Path
from typing import TextIO

from collector.contract.mapping import Profile
from collector.errors import UserError
from collector.sources.csv_rows import MARK


def open_text(path: Path, profile: Profile) -> TextIO:
    """Open a file as `CsvRows` wants it.

    Raises
    ------
    UserError
        When it cannot be opened.
    """
    try:
        encoding, errors = _opened_as(path, profile.encoding)
        file = path.open(encoding=encoding, errors=errors, newline="")
    except OSError as error:
        raise UserError(f"{path} cannot be read ({error.strerror}); give the path of a CSV file") from error
    if encoding.startswith("utf-16") and file.read(1) != MARK:
        file.seek(0)
    return file


def _opened_as(path: Path, encoding: str) -> tuple[str, str]:
    """Encoding and way with bytes outside of it; UTF-16 by its mark, so that rows have their own bytes."""
    name = codecs.lookup(encoding).name
    if name == "utf-8":
        return "utf-8-sig", "surrogateescape"
    if not name.startswith("utf-16"):
        return name, "surrogateescape"
    with path.open("rb") as file:
        start = file.read(2)
    big = start == b"\xfe\xff" or (start != b"\xff\xfe" and name.endswith("be"))
    return ("utf-16-be" if big else "utf-16-le"), "surrogatepass"
