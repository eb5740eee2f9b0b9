"""The parts of a proposed profile that stand above its columns: how the file is written, names, times."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from collector.sources.inspection import roles as role_finding
from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.mapping import Mapping
from collector.sources.inspection.proposal import HeadValue, Kind, Known, TimeValue
from collector.sources.inspection.ranges import canonical, is_plausible
from collector.sources.inspection.seen import Seen
from collector.sources.inspection.table import odd_texts
from collector.sources.inspection.times import FoundTime, rises_and_falls
from collector.sources.inspection.words import ideas

GUESSED_INTERVAL_S = 60.0


def head_of(seen: Seen, known: Known, kind: Kind, doubts: Doubts) -> dict[str, HeadValue]:
    """The keys of a profile's top level in their order; None for those that the person has to fill."""
    head: dict[str, HeadValue] = {
        "kind": kind,
        "title": f"Proposed for {seen.sample.name}",
        "encoding": seen.sample.encoding,
        "delimiter": seen.cut.delimiter,
        "decimal_mark": seen.marks.decimal,
    }
    if seen.marks.thousands is not None:
        head["thousands_mark"] = seen.marks.thousands
    if seen.marks.decimal == seen.cut.delimiter:
        head["quoted_decimals"] = True
    head |= _shape(seen, kind)
    numeric = [column for column in seen.free if column.is_numeric]
    if odd := odd_texts(numeric):
        head["missing"] = ["", *odd]
        doubts.add("missing", f"cells with {' or '.join(map(repr, odd))} are taken for no value")
    return head | (_names_of_shots(seen, known, doubts) if kind == "shots" else _link(seen, known, doubts))


def _shape(seen: Seen, kind: Kind) -> dict[str, HeadValue]:
    found = seen.layout.head
    shape: dict[str, HeadValue] = {"header_rows": found.header_rows}
    if found.header_rows == 0:
        shape["column_count"] = len(found.names)
    said: dict[str, HeadValue] = {
        "skip_rows": found.skip_rows,
        "brackets_in_names": found.brackets,
        "wrapped_lines": seen.cut.wrapped,
        "newest_first": seen.newest_first,
        "skip_blank_rows": kind == "shots",
        "total_rows": seen.layout.totals,
    }
    return shape | {key: value for key, value in said.items() if value}


def _press(known: Known, doubts: Doubts) -> dict[str, HeadValue]:
    if known.press is None:
        doubts.add(
            "press",
            "the file does not say which press it is of: give its name here, or with --press at import",
        )
    run: dict[str, HeadValue] = {} if known.run is None else {"run": known.run}
    return {"press": known.press, **run}


def _names_of_shots(seen: Seen, known: Known, doubts: Doubts) -> dict[str, HeadValue]:
    roles = seen.roles
    role_finding.note_counter(
        roles.counter, newest_first=seen.newest_first, cavities=roles.cavity is not None, doubts=doubts
    )
    named = {
        "press_column": roles.press,
        "counter_column": roles.counter,
        "tray_column": roles.tray,
        "cavity_column": roles.cavity if seen.same_shot else None,
    }
    found: dict[str, HeadValue] = {
        key: column.reference for key, column in named.items() if column is not None
    }
    press = _press(known, doubts) if roles.press is None or known.press else {}
    return press | found


def _link(seen: Seen, known: Known, doubts: Doubts) -> dict[str, HeadValue]:
    """How a row of gaugings names its disc."""
    roles, press = seen.roles, _press(known, doubts)
    if roles.tray is not None and roles.position is not None:
        return press | {
            "link": "tray",
            "tray_column": roles.tray.reference,
            "position_column": roles.position.reference,
        }
    if roles.mark is not None:
        return press | {"link": "mark", "mark_column": roles.mark.reference}
    if roles.counter is not None and ideas(roles.counter.name) & {"cycle", "shot"}:
        doubts.add("link", f"rows name their shot by the press's counter in column {roles.counter.name!r}")
        return press | {"link": "counter", "counter_column": roles.counter.reference}
    doubts.add(
        "link",
        "rows name no shot, so they are taken in the order of molding; "
        "set offset if the first is not the run's first",
    )
    if known.run is None:
        doubts.add(
            "run", "discs in order need the run that they are of: give it here, or with --run at import"
        )
    return press | {"run": known.run, "link": "order", "offset": 0}


def time_of(  # noqa: PLR0917 - what is seen and what is said
    seen: Seen, known: Known, kind: Kind, mapping: Mapping, path: Path, doubts: Doubts
) -> dict[str, TimeValue]:
    """The keys of its time section: read, or made up; empty for gaugings without a time."""
    if seen.time is not None:
        return _read_times(seen, seen.time, known, doubts)
    if kind == "gaugings":
        doubts.add("link", "no column has the time of gauging, so the age of the discs stays unknown")
        return {}
    return _made_up_times(seen, known, mapping, path, doubts)


def _read_times(seen: Seen, time: FoundTime, known: Known, doubts: Doubts) -> dict[str, TimeValue]:
    section: dict[str, TimeValue] = {"columns": [column.reference for column in time.columns]}
    section |= {"order": time.order} if time.format is None else {"format": time.format}
    if not time.zoned:
        section["zone"] = known.zone
        doubts.add("time", f"the times name no zone; {known.zone} is that of the settings")
    rises, falls = rises_and_falls(time.moments)
    again = len(time.moments) - 1 - rises - falls
    if again > 0 and seen.roles.counter is None:
        doubts.add("time", f"times come twice in the sample ({again} x); the later row amends the one before")
    steps = rises if seen.newest_first else falls
    if steps:
        doubts.add("time", f"the times step back in the sample ({steps} x), as where a clock was set")
    return section


def _made_up_times(
    seen: Seen, known: Known, mapping: Mapping, path: Path, doubts: Doubts
) -> dict[str, TimeValue]:
    cycle = next((each for each in mapping.values if each.key == "cycle_time"), None)
    measured = None if cycle is None else canonical(cycle.column.middle * cycle.factor, cycle.unit)
    if measured is not None and not is_plausible("cycle_time", measured, "s"):
        measured = None
    interval_s = known.interval_s or measured or GUESSED_INTERVAL_S
    start = known.start or _start(seen, known, path, interval_s)
    if known.start is None:
        doubts.add(
            "time",
            "the file has no times: start is a guess from the file's own age; give the end of the first shot",
        )
    if known.interval_s is None:
        source = "the middle of its cycle times" if measured else "no more than a placeholder"
        doubts.add(
            "time",
            f"interval_s, the seconds from shot to shot, is {source}; all times are marked as reconstructed",
        )
    return {"start": start, "interval_s": float(f"{interval_s:.4g}")}


def _start(seen: Seen, known: Known, path: Path, interval_s: float) -> datetime:
    """The end of the first shot, if the file was written at its last one."""
    sample = seen.sample
    seen_bytes = sum(len(line) for line in sample.head)
    rows = len(seen.layout.rows) * (1 if sample.whole else sample.size / max(1, seen_bytes))
    written = min(datetime.fromtimestamp(path.stat().st_mtime, UTC), known.now)
    return (written - timedelta(seconds=interval_s * max(0.0, rows - 1))).replace(microsecond=0)
