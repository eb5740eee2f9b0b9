"""The forms in which a shot's values could be stored, each with the same few operations.

All share the other columns and the indexes of the real table `shots`. They use the drivers directly, so that
what is compared is the form and not a library on top of it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import psycopg
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow.json import ParseOptions, ReadOptions, read_json
from shot_rows import FIXED, KEYS, FixedRow

FloatArray = NDArray[np.float64]
Values = Sequence[float]

_TYPES = {
    "text": ("TEXT", "TEXT"),
    "int": ("INTEGER", "BIGINT"),
    "real": ("REAL", "DOUBLE PRECISION"),
    "bytes": ("BLOB", "BYTEA"),
    "json": ("TEXT", "JSONB"),
}
_INDEXES = ("press_id, epoch, counter", "press_id, id", "press_id, ended_at", "run_id, id", "tray, press_id")


def compact(value: object) -> str:
    """JSON without blanks."""
    return json.dumps(value, separators=(",", ":"))


@dataclass(frozen=True)
class Form:
    """One way to store values, on one database (`post`: PostgreSQL)."""

    post: bool
    name: ClassVar[str] = ""
    column: ClassVar[tuple[str, str]] = ("", "")
    # Plain SQL that reads one value by its key for one shot; None where it cannot be done.
    by_name: ClassVar[tuple[str | None, str | None]] = (None, None)

    @property
    def extra(self) -> list[str]:
        """Names of the columns beside the fixed ones."""
        return ["characteristics"] if self.column[self.post] else []

    def schema(self) -> list[str]:
        """Statements that make the tables."""
        columns = [f"{name} {_TYPES[kind][self.post]}" for name, kind in FIXED.items() if name != "id"]
        if self.extra:
            columns.append(f"characteristics {self.column[self.post]} NOT NULL")
        identity = "id BIGINT PRIMARY KEY" if self.post else "id INTEGER PRIMARY KEY"
        made = [f"CREATE TABLE shots ({identity}, {', '.join(columns)})"]
        for number, on in enumerate(_INDEXES):
            made.append(f"CREATE {'' if number else 'UNIQUE'} INDEX i{number} ON shots ({on})")
        state = _TYPES["json"][self.post]
        return [*made, f"CREATE TABLE engine_states (press_id INTEGER PRIMARY KEY, state {state})"]

    def cell(self, values: Values) -> Any:
        """What goes into the column `characteristics`."""
        raise NotImplementedError

    def store(self, cursor: Any, batch: Sequence[tuple[FixedRow, Values]], *, bulk: bool) -> None:
        """Write a batch inside the caller's transaction."""
        cells = ((self.cell(values),) if self.extra else () for _, values in batch)
        rows = ((*fixed, *cell) for (fixed, _), cell in zip(batch, cells, strict=True))
        put(cursor, "shots", [*FIXED, *self.extra], rows, bulk=bulk and self.post)

    def select(self, what: str, last: int) -> str:
        """The page's question: the newest shots of one press."""
        inner = f"SELECT * FROM shots WHERE press_id = 1 ORDER BY id DESC LIMIT {last}"
        return f"SELECT {what} FROM ({inner}) AS s ORDER BY id"

    def read(self, cursor: Any, last: int) -> FloatArray:
        """Values of the newest shots of press 1, shape (shots, keys)."""
        raise NotImplementedError


def put(cursor: Any, table: str, columns: Sequence[str], rows: Iterable[Any], *, bulk: bool) -> None:
    """Insert rows: by COPY (bulk, PostgreSQL) or by executemany."""
    names = ", ".join(columns)
    if bulk:
        with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        return
    mark = "%s" if isinstance(cursor, psycopg.Cursor) else "?"
    marks = ", ".join([mark] * len(columns))
    cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", list(rows))


class JsonObject(Form):
    """{"cushion": 6.2, ...} in the row of the shot."""

    name = "JSON object"
    column = ("TEXT", "JSONB")
    by_name = ("SELECT characteristics ->> 'cushion' FROM shots",) * 2

    def cell(self, values: Values) -> str:
        return compact(dict(zip(KEYS, values, strict=True)))

    def read(self, cursor: Any, last: int) -> FloatArray:
        what = "characteristics::text" if self.post else "characteristics"
        texts = [row[0] for row in cursor.execute(self.select(what, last)).fetchall()]
        shots = json.loads(f"[{','.join(texts)}]")
        return np.array([[shot.get(key, np.nan) for key in KEYS] for shot in shots])


class JsonBySql(JsonObject):
    """The same, each key picked out by the database."""

    name = "JSON object, read by SQL"

    def read(self, cursor: Any, last: int) -> FloatArray:
        picked = [f"characteristics ->> '$.\"{key}\"'" for key in KEYS]
        if self.post:
            picked = [f"(characteristics ->> '{key}')::float8" for key in KEYS]
        return np.array(cursor.execute(self.select(", ".join(picked), last)).fetchall())


class JsonByArrow(JsonObject):
    """The same, decoded by Arrow's reader of JSON lines on one core."""

    name = "JSON object, read by Arrow"

    def read(self, cursor: Any, last: int) -> FloatArray:
        what = "characteristics::text" if self.post else "characteristics"
        lines = "\n".join([row[0] for row in cursor.execute(self.select(what, last)).fetchall()])
        schema = pa.schema([(key, pa.float64()) for key in KEYS])
        table = read_json(
            pa.BufferReader(lines.encode()),
            parse_options=ParseOptions(explicit_schema=schema, unexpected_field_behavior="ignore"),
            read_options=ReadOptions(use_threads=False, block_size=1 << 22),
        )
        return np.column_stack([table[key].to_numpy() for key in KEYS])


class JsonPlain(JsonObject):
    """The same as text (PostgreSQL's json, not jsonb)."""

    name = "JSON object as text"
    column = ("TEXT", "JSON")


class JsonPlainByArrow(JsonByArrow, JsonPlain):
    """The same, decoded by Arrow."""

    name = "JSON object as text, read by Arrow"


class JsonList(Form):
    """[6.2, ...] in the row of the shot, and the number of a list of keys."""

    name = "JSON list + key list"
    column = ("TEXT", "JSONB")
    by_name = (
        "SELECT characteristics ->> (SELECT position FROM key_positions WHERE key = 'cushion') FROM shots",
    ) * 2

    def schema(self) -> list[str]:
        return [*super().schema(), *_key_positions(0)]

    def cell(self, values: Values) -> Any:
        return compact(list(values))

    def read(self, cursor: Any, last: int) -> FloatArray:
        what = "characteristics::text" if self.post else "characteristics"
        texts = [row[0] for row in cursor.execute(self.select(what, last)).fetchall()]
        return np.array(json.loads(f"[{','.join(texts)}]"), dtype=float)


class Packed(Form):
    """Eight bytes a value, and the number of a list of keys."""

    name = "packed + key list"
    column = ("BLOB", "DOUBLE PRECISION[]")
    by_name = (
        None,  # a blob needs a function that outside tools do not have
        "SELECT characteristics[(SELECT position FROM key_positions WHERE key = 'cushion')] FROM shots",
    )

    def schema(self) -> list[str]:
        return [*super().schema(), *_key_positions(1)]

    def cell(self, values: Values) -> Any:
        return list(values) if self.post else np.array(values).tobytes()

    def read(self, cursor: Any, last: int) -> FloatArray:
        rows = cursor.execute(self.select("characteristics", last)).fetchall()
        if self.post:
            return np.array([row[0] for row in rows])
        return np.frombuffer(b"".join([row[0] for row in rows])).reshape(-1, len(KEYS))


class RowPerValue(Form):
    """A table of (shot, key, value)."""

    name = "row per value"
    by_name = ("SELECT value FROM shot_values JOIN keys ON keys.id = key_id WHERE key = 'cushion'",) * 2

    def schema(self) -> list[str]:
        number, real = _TYPES["int"][self.post], _TYPES["real"][self.post]
        rowid = "" if self.post else " WITHOUT ROWID"
        return [
            *super().schema(),
            f"CREATE TABLE shot_values (shot_id {number}, key_id SMALLINT, value {real}, "
            f"PRIMARY KEY (shot_id, key_id)){rowid}",
            "CREATE TABLE keys (id INTEGER PRIMARY KEY, key TEXT)",
            *[f"INSERT INTO keys VALUES ({i}, '{key}')" for i, key in enumerate(KEYS)],
        ]

    def store(self, cursor: Any, batch: Sequence[tuple[FixedRow, Values]], *, bulk: bool) -> None:
        super().store(cursor, batch, bulk=bulk)
        rows = ((fixed[0], key, value) for fixed, values in batch for key, value in enumerate(values))
        put(cursor, "shot_values", ("shot_id", "key_id", "value"), rows, bulk=bulk and self.post)

    def read(self, cursor: Any, last: int) -> FloatArray:
        inner = f"SELECT id FROM shots WHERE press_id = 1 ORDER BY id DESC LIMIT {last}"
        rows = cursor.execute(
            f"SELECT value FROM ({inner}) AS s JOIN shot_values ON shot_id = id "
            "ORDER BY shot_id, key_id"
        ).fetchall()
        return np.array(rows).reshape(-1, len(KEYS))


def _key_positions(first: int) -> list[str]:
    rows = [f"INSERT INTO key_positions VALUES ('{key}', {i})" for i, key in enumerate(KEYS, first)]
    return ["CREATE TABLE key_positions (key TEXT PRIMARY KEY, position INTEGER)", *rows]


STORED: tuple[type[Form], ...] = (JsonObject, JsonPlain, JsonList, Packed, RowPerValue)
