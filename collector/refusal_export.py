"""What was refused, in a file for whoever mends the sender: CSV for people, JSON lines for programs."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from collector.csv_out import row_writer
from collector.errors import UserError
from collector.store import database, refusals

COLUMNS = (
    "id", "received_at", "source", "position", "topic", "reason", "detail", "remedy", "state", "raw",
)


def export_refused(
    engine: sa.Engine, path: Path, *, source: str | None = None, state: str | None = None
) -> int:
    """Write refusals to a new file, oldest first, one at a time.

    Parameters
    ----------
    engine : Engine
    path : Path
        Ends in .csv (the message as text, signs that are none replaced; no cell can be taken for a formula)
        or .jsonl (a JSON object a line, the message in base64, every byte of it).
    source : str or None
        Only what came from here.
    state : {'kept', 'replayed'} or None
        Only those in this state; None gives both.

    Returns
    -------
    int
        How many.

    Raises
    ------
    UserError
        The name ends otherwise, the file exists, or it cannot be written.
    """
    write = {".csv": _csv, ".jsonl": _jsonl}.get(path.suffix.lower())
    if write is None:
        raise UserError(f"{path.name} is neither .csv nor .jsonl; give the file one of these endings")
    try:
        # An existing file is somebody's: "x" refuses it.
        with database.read(engine) as conn, path.open("x", encoding="utf-8", newline="") as out:
            return write(out, refusals.each(conn, source=source, state=state))
    except FileExistsError as error:
        raise UserError(f"{path} exists already; give another name, or move it away") from error
    except OSError as error:
        raise UserError(f"{path} cannot be written ({error.strerror}); give another path") from error


def _csv(out: Any, rows: Any) -> int:
    write, count = row_writer(out), 0
    write(COLUMNS)
    for row in rows:
        text = bytes(row.raw).decode("utf-8", "replace")
        write([_plain(getattr(row, name)) for name in COLUMNS[:-1]] + [text])
        count += 1
    return count


def _jsonl(out: Any, rows: Any) -> int:
    count = 0
    for row in rows:
        members = {name: _plain(getattr(row, name)) for name in COLUMNS[:-1]}
        members["raw_base64"] = base64.b64encode(bytes(row.raw)).decode()
        out.write(json.dumps(members, ensure_ascii=False) + "\n")
        count += 1
    return count


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else value
