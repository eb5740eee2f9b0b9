"""The confusion matrix on a screen of 150 columns."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table

from collector.alarms.fault_table import FAULTS as TABLE
from simulator.confusion_figures import FIRST, NOTHING, Named, figures, matrix

SAYS = {
    "first": "process faults alarmed: true row named first",
    "first_or_group": "... or one of its group",
    "first_three": f"process faults alarmed: true row in the first {FIRST}",
    "first_three_or_group": "... or one of its group",
    "data_apart": "faults of the data alarmed: told as data",
    "process_apart": "faults of the process alarmed: not told as data",
    "apart": "both: told apart",
    "process_alarmed": "process faults that something shows: alarmed",
    "data_alarmed": "faults of the data that something shows: alarmed",
}
WANTED = {"first_three_or_group": 0.80, "apart": 0.98}
_NAMES = {fault.row: fault for fault in TABLE}


def show(console: Console, found: Sequence[Named]) -> None:
    """Print one line a row of the fault table, the groups, and the figures against what is wanted."""
    table = Table(title="True fault against the cause named first", title_justify="left", box=box.SIMPLE)
    for heading in ("row", "fault", "n", "alarmed", "first", f"in {FIRST}", "or group", "named first: times"):
        table.add_column(heading, no_wrap=heading != "fault")
    for row, told in matrix(found).items():
        mine = [each for each in found if each.row == row and not each.of_messages]
        table.add_row(*_line(row, mine, told))
    console.print(table)
    _messages(console, found)
    _groups(console)
    _figures(console, found)


def _line(row: int, mine: Sequence[Named], told: Counter[int | str]) -> list[str]:
    alarmed = [each for each in mine if each.alarm]
    right = (
        sum(each.is_named(1, by_group=False) for each in alarmed),
        sum(each.is_named(FIRST, by_group=False) for each in alarmed),
        sum(each.is_named(FIRST, by_group=True) for each in alarmed),
    )
    firsts = ", ".join(f"{name}: {count}" for name, count in told.most_common())
    return [str(row), _NAMES[row].name, str(len(mine)), str(len(alarmed)), *map(str, right), firsts]


def _messages(console: Console, found: Sequence[Named]) -> None:
    mine = [each for each in found if each.of_messages]
    if mine:
        kinds = Counter(each.alarm or NOTHING for each in mine)
        told = ", ".join(f"{kind}: {count}" for kind, count in kinds.most_common())
        console.print(
            f"Messages out of order, twice, lost, or of another clock ({len(mine)}): alarms meanwhile {told}."
        )


def _groups(console: Console) -> None:
    groups: dict[str, list[str]] = {}
    for fault in TABLE:
        if fault.group is not None:
            groups.setdefault(fault.group, []).append(str(fault.row))
    for group, rows in groups.items():
        console.print(f"Telemetry does not tell apart rows {', '.join(rows)}: {group}.")


def _figures(console: Console, found: Sequence[Named]) -> None:
    table = Table(box=box.SIMPLE)
    for heading in ("figure", "value", "95 % interval", "of", "wanted", ""):
        table.add_column(heading, no_wrap=True)
    for name, figure in figures(found).items():
        wanted = WANTED.get(name)
        known = not math.isnan(figure.value)
        met = "" if wanted is None or not known else "met" if figure.value >= wanted else "MISSED"
        table.add_row(
            SAYS[name], f"{figure.value:.3f}" if known else "-",
            f"{figure.low:.3f} to {figure.high:.3f}" if known else "-", str(figure.n),
            "" if wanted is None else f"at least {wanted:.2f}", met,
        )  # fmt: skip
    console.print(table)
