"""The end of the journal's chain, outside of the store: one line a day in a file, and retained on the broker.

A line is a JSON object: `entry` (its number), `digest` (hexadecimal) and `wall_at`. The same object is the
message, so what somebody kept of the broker can be checked like a line of the file.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from collector.contract.outgoing import JournalHead
from collector.contract.times import to_text
from collector.errors import UserError
from collector.proof.seal import ACTION
from collector.settings import Settings
from collector.store.tables import journal


@dataclass(frozen=True, slots=True)
class Head:
    """The end of the chain at a moment."""

    entry: int
    digest: bytes
    wall_at: str

    def line(self) -> str:
        """As it stands in the file."""
        found = {"entry": self.entry, "digest": self.digest.hex(), "wall_at": self.wall_at}
        return json.dumps(found, separators=(",", ":"))

    def message(self, site: str, at: datetime) -> JournalHead:
        """As it is published."""
        return JournalHead(site=site, at=at, entry=self.entry, digest=self.digest.hex(), wall_at=self.wall_at)


def file_of(settings: Settings) -> Path:
    """Where the heads of a store go: each store has a file of its own."""
    if settings.journal.heads_file is not None:
        return settings.journal.heads_file
    url = sa.make_url(settings.database_url)
    if url.get_backend_name() == "sqlite" and url.database:
        return Path(url.database).with_name("journal-heads.jsonl")
    return Path("evenrun-data", f"{url.database}-journal-heads.jsonl")


def sealed(conn: sa.Connection, *, after: int = 0) -> list[Head]:
    """The heads of the days, which are the entries of their seals."""
    c = journal.c
    query = sa.select(c.id, c.digest, c.wall_at).where(c.action == ACTION, c.id > after).order_by(c.id)
    return [Head(row.id, row.digest, to_text(row.wall_at)) for row in conn.execute(query)]


def read(path: Path) -> list[Head]:
    """Lines of a file of heads.

    Raises
    ------
    UserError
        The file cannot be read, or a line is no head.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except UnicodeDecodeError as error:
        raise UserError(
            f"{path} is no file of heads, it is not even text; name another with --head"
        ) from error
    except OSError as error:
        said = error.strerror
        raise UserError(
            f"the file of heads {path} cannot be read ({said}); name another with --head"
        ) from error
    return [_read_line(line, path, number) for number, line in enumerate(lines, start=1) if line.strip()]


def append(path: Path, heads: Sequence[Head]) -> None:
    """Add lines; what stands in the file is never touched.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8") as file:
        file.writelines(f"{head.line()}\n" for head in heads)


def _read_line(line: str, path: Path, number: int) -> Head:
    try:
        found = json.loads(line)
        return Head(
            int(found["entry"]),
            bytes.fromhex(found["digest"]),
            str(found.get("wall_at") or "an unknown time"),
        )
    except (ValueError, KeyError, TypeError) as error:
        raise UserError(
            f'line {number} of {path} is no head of a journal; one looks like {{"entry":12,"digest":"..."}}'
        ) from error
