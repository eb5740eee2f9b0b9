"""A table written in any mixture of dialects is read back to the same values, through the proposed profile.

The writer is this test's own: plain text put together here, with nothing of the service in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.sources import inspection, profiles
from collector.sources.csv_file import Import, read

NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
START = datetime(2026, 5, 14, 10, 0, 30, tzinfo=UTC)  # the 14th, so that no month can be meant
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1")
CLOCKS = {
    "iso": "%Y-%m-%dT%H:%M:%S",
    "iso with zone": "%Y-%m-%d %H:%M:%S+00:00",
    "day first": "%d.%m.%Y %H:%M:%S",
    "day first, two digits": "%d/%m/%y %H:%M:%S",
    "dotted time": "%d.%m.%Y %H.%M.%S",
    "month first, halves of the day": "%m/%d/%Y %I:%M:%S %p",
    "two columns": "%d.%m.%Y|%H:%M:%S",
    "two columns, month first, halves of the day": "%m/%d/%Y|%I:%M:%S %p",
    "two columns, dotted time": "%Y/%m/%d|%H.%M.%S",
    "compact date": "%Y%m%d|%H:%M:%S",
    "compact date, halves of the day": "%Y%m%d|%I:%M:%S %p",
    "none": "",
}
NAMES = ["Zähler", "Massepolster", "Spritzdruck max", "ActTmpBrlZn[1,3]", "Einspritzzeit"]
UNITS = ["", "mm", "bar", "°C", "s"]


@dataclass(frozen=True)
class Dialect:
    """How a table is written."""

    encoding: str
    delimiter: str
    mark: str
    clock: str
    end: str
    title_rows: int
    header_rows: int
    quoted_names: bool
    wrap: int
    newest_first: bool
    header_again: int
    blank: str
    reset_after: int
    trailing: bool


DIALECTS = st.builds(
    Dialect,
    encoding=st.sampled_from(ENCODINGS),
    delimiter=st.sampled_from([";", "\t", ",", "|"]),
    mark=st.sampled_from([".", ","]),
    clock=st.sampled_from(sorted(CLOCKS)),
    end=st.sampled_from(["\n", "\r\n"]),
    title_rows=st.sampled_from([0, 1, 2]),
    header_rows=st.sampled_from([1, 2, 3]),
    quoted_names=st.booleans(),
    wrap=st.sampled_from([0, 2, 4]),
    newest_first=st.booleans(),
    header_again=st.sampled_from([0, 5]),
    blank=st.sampled_from(["", "line", "row"]),
    reset_after=st.sampled_from([0, 7]),
    trailing=st.booleans(),
)
HUNDREDTHS = st.tuples(
    st.integers(300, 900), st.integers(60000, 110000), st.integers(19000, 24000), st.integers(101, 399)
)
ROWS = st.lists(HUNDREDTHS, min_size=10, max_size=30)


def counts(rows: int, dialect: Dialect) -> list[int]:
    return [n % (dialect.reset_after or rows) + 1 for n in range(rows)]


def decimal(hundredths: int, dialect: Dialect) -> str:
    text = f"{hundredths // 100}{dialect.mark}{hundredths % 100:02d}"
    return f'"{text}"' if dialect.mark == dialect.delimiter else text


def written(table: list[tuple[int, ...]], dialect: Dialect) -> str:
    clock = CLOCKS[dialect.clock]
    times = clock.split("|") if clock else []
    time_names = ["Datum", "Uhrzeit"][: len(times)]
    names = [f'"{name}"' if dialect.quoted_names and "," in name else name for name in NAMES]
    head = [[*time_names, *names], [*("" for _ in times), *UNITS]]
    if dialect.header_rows == 3:
        head.insert(1, ["Angabe der Presse"] * len(head[0]))
    head = head[: dialect.header_rows]
    body = []
    for n, (count, values) in enumerate(zip(counts(len(table), dialect), table, strict=True)):
        stamps = [(START + timedelta(seconds=48 * n)).strftime(part) for part in times]
        body.append([*stamps, str(count), *(decimal(value, dialect) for value in values)])
    rows = []
    for n, cells in enumerate(reversed(body) if dialect.newest_first else body):
        if n and dialect.header_again and n % dialect.header_again == 0:
            rows += head
        if n == 7 and dialect.blank:
            rows.append([""] * len(cells) if dialect.blank == "row" else [])
        rows.append([*cells, ""] if dialect.trailing else cells)
    lines = [f"Bericht {n}" for n in range(dialect.title_rows)]
    lines += [wrapped(row, dialect) for row in [*head, *rows]]
    return "".join(line + dialect.end for line in lines)


def wrapped(cells: list[str], dialect: Dialect) -> str:
    if not dialect.wrap or len(cells) <= dialect.wrap or not any(cells):
        return dialect.delimiter.join(cells)
    first = dialect.delimiter.join(cells[: dialect.wrap])
    return f"{first}{dialect.delimiter}{dialect.end}  {dialect.delimiter.join(cells[dialect.wrap:])}"


@given(table=ROWS, dialect=DIALECTS)
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_table_in_any_dialect_is_read_back(
    tmp_path: Path, table: list[tuple[int, ...]], dialect: Dialect
) -> None:
    path = tmp_path / "press.csv"
    path.write_bytes(written(table, dialect).encode(dialect.encoding))
    known = inspection.Known(zone="UTC", now=NOW, press="P1", start=START, interval_s=48)
    text = inspection.as_toml(inspection.propose(path, known))
    job = Import(site="lowland", now=NOW, received_at=NOW)
    found = list(read(path, profiles.parse(text, "proposed"), job))

    assert [r.sentence() for r in found if isinstance(r, Refusal)] == []
    shots = [r for r in found if isinstance(r, Shot)]
    assert [shot.counter for shot in shots] == counts(len(table), dialect)
    assert [shot.ended_at for shot in shots] == [START + timedelta(seconds=48 * n) for n in range(len(table))]
    assert all(shot.time_reconstructed == (dialect.clock == "none") for shot in shots)
    for shot, (cushion, pressure, barrel, fill) in zip(shots, table, strict=True):
        assert shot.values == pytest.approx(
            {
                "cushion": cushion / 100,
                "peak_melt_pressure": pressure / 1000,
                "barrel_temperature.3": barrel / 100,
                "injection_time": fill / 100,
            }
        )
