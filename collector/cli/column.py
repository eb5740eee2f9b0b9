"""One column of a CSV file as numbers, with a sentence for everything that can be wrong with it."""

from __future__ import annotations

import csv
import math
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from rich.console import Console
from rich.progress import open as open_with_progress

from collector.errors import UserError

__all__ = ["read_column"]

NO_VALUE = {"", "nan", "na", "n/a", "null"}


def read_column(path: Path, column: str) -> NDArray[np.float64]:
    """Return a column of a comma-separated file with one header line.

    Parameters
    ----------
    path : Path
        File in UTF-8.
    column : str
        Header of the column.

    Returns
    -------
    ndarray of float64, shape (rows,)
        NaN where the line or the cell is empty, or says that there is no value (``NaN``, ``NA``, ``null``).

    Raises
    ------
    UserError
        If the file, the column or a number cannot be read.
    """
    if not path.is_file():
        raise UserError(f"there is no file {path}; check the path")
    try:
        return np.fromiter(_numbers(path, column), dtype=np.float64)
    except UnicodeDecodeError as exc:
        raise UserError(f"{path} is not text in UTF-8; save it as CSV in UTF-8") from exc
    except csv.Error as exc:
        raise UserError(f"{path} is not CSV ({exc}); save it with commas between the cells") from exc
    except OSError as exc:
        raise UserError(f"{path} cannot be read ({exc.strerror}); check its permissions") from exc


def _numbers(path: Path, column: str) -> Iterator[float]:
    with open_with_progress(
        path,
        "rt",
        encoding="utf-8-sig",
        newline="",
        description=path.name,
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    ) as file:
        lines = csv.reader(file)
        header = [name.strip() for name in next(lines, [])]
        place = _place(header, column, path)
        for cells in lines:
            # An empty line is a missing value: dropping it would move every index after it.
            if cells and len(cells) != len(header):
                raise UserError(
                    f"line {lines.line_num} of {path} has {len(cells)} cells and its header {len(header)}; "
                    "mend the line"
                )
            yield _number(cells[place] if cells else "", lines.line_num, path)


def _place(header: list[str], column: str, path: Path) -> int:
    if not header:
        raise UserError(f"{path} has no header line; write the names of the columns in its first line")
    if column not in header:
        hint = "; it seems to be written with semicolons: save it with commas" if ";" in header[0] else ""
        raise UserError(f"{path} has no column {column!r}; it has {', '.join(header)}{hint}")
    return header.index(column)


def _number(cell: str, line: int, path: Path) -> float:
    if cell.strip().lower() in NO_VALUE:
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        value = math.inf
    if math.isinf(value):
        raise UserError(f"line {line} of {path} holds {cell!r}; write a number with a decimal point")
    return value
