"""Opening a CSV file so that every byte of it can be given back, whatever its encoding says."""

from __future__ import annotations

from pathlib import Path
from typing import TextIO

from collector.contract.mapping import Profile
from collector.errors import UserError

_MARK = "\ufeff"


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
    if encoding.startswith("utf-16") and file.read(1) != _MARK:
        file.seek(0)
    return file


def _opened_as(path: Path, encoding: str) -> tuple[str, str]:
    """Encoding and way with bytes outside of it; UTF-16 by its mark, so that rows have their own bytes."""
    name = encoding.lower().replace("_", "-")
    if name in {"utf-8", "utf8"}:
        return "utf-8-sig", "surrogateescape"
    if name not in {"utf-16", "utf16", "utf-16-le", "utf-16-be", "utf-16le", "utf-16be"}:
        return encoding, "surrogateescape"
    with path.open("rb") as file:
        start = file.read(2)
    big = start == b"\xfe\xff" or (start != b"\xff\xfe" and name.endswith("be"))
    return ("utf-16-be" if big else "utf-16-le"), "surrogatepass"
