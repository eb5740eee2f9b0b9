"""What was named for what, counted; see `simulator.confusion` for the definitions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from collector.alarms.fault_table import FAULTS as TABLE
from simulator.faults import FAULTS
from simulator.score_sums import Figure, proportion

FIRST = 3
DATA_ROW = 27
NOTHING = "none"

_GROUP = {fault.row: fault.group for fault in TABLE}


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """One instance of a fault, and what its alarm named.

    Attributes
    ----------
    row : int
        Of the trade's table.
    of_messages : bool
        It garbles what orders messages, not their values.
    shown : bool
        Something that the press reports shows it.
    touched : bool
        It touched a shot and is none of the ordinary ones.
    alarm : str or None
        Kind of its alarm, None where there was none.
    causes : tuple of int
        Rows that the alarm named, best fit first.
    """

    fault: str
    seed: int
    row: int
    variant: str = ""
    of_messages: bool = False
    shown: bool = False
    touched: bool = False
    alarm: str | None = None
    headline: str = ""
    causes: tuple[int, ...] = ()

    @property
    def of_data(self) -> bool:
        """A fault of the data, which shows in values."""
        return self.row == DATA_ROW and not self.of_messages

    @property
    def of_process(self) -> bool:
        """A fault of the process that nobody would call ordinary."""
        return self.row != DATA_ROW and not FAULTS[self.fault].ordinary

    @property
    def told_as_data(self) -> bool:
        """Its alarm is one of the data, or names the sensor or gateway first."""
        return self.alarm == "data" or self.causes[:1] == (DATA_ROW,)

    def is_named(self, most: int, *, by_group: bool) -> bool:
        """Whether the true row, or one of its group, is among the first so many."""
        rows = self.causes[:most]
        if not by_group or _GROUP[self.row] is None:
            return self.row in rows
        return any(_GROUP[row] == _GROUP[self.row] for row in rows)


def figures(found: Sequence[Named]) -> dict[str, Figure]:
    """Shares of what was named rightly, each with Wilson's interval.

    Returns
    -------
    dict of str to Figure
        Of faults of the process that were alarmed: `first`, `first_or_group`, `first_three`,
        `first_three_or_group`, and `process_apart`. Of faults of the data that were alarmed: `data_apart`.
        `apart`: both together. `process_alarmed` and `data_alarmed`: of all that something shows.
    """
    process = [each for each in found if each.of_process and each.alarm]
    data = [each for each in found if each.of_data and each.alarm]
    right = [*(not each.told_as_data for each in process), *(each.told_as_data for each in data)]
    return {
        "first": _share([each.is_named(1, by_group=False) for each in process]),
        "first_or_group": _share([each.is_named(1, by_group=True) for each in process]),
        "first_three": _share([each.is_named(FIRST, by_group=False) for each in process]),
        "first_three_or_group": _share([each.is_named(FIRST, by_group=True) for each in process]),
        "process_apart": _share([not each.told_as_data for each in process]),
        "data_apart": _share([each.told_as_data for each in data]),
        "apart": _share(right),
        "process_alarmed": _share([bool(each.alarm) for each in found if each.of_process and each.shown]),
        "data_alarmed": _share([bool(each.alarm) for each in found if each.of_data and each.shown]),
    }


def matrix(found: Sequence[Named]) -> dict[int, Counter[int | str]]:
    """True row against the row named first, `NOTHING` where none was; faults of messages are left out."""
    counts: dict[int, Counter[int | str]] = {}
    for each in found:
        if not each.of_messages:
            told = each.causes[0] if each.causes else NOTHING
            counts.setdefault(each.row, Counter())[told] += 1
    return dict(sorted(counts.items()))


def _share(right: Sequence[bool]) -> Figure:
    return proportion(sum(right), len(right))
