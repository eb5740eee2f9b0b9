"""Columns that name a shot or a disc: the press's counter, the press, the tray, the cavity, the mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.table import SampledColumn
from collector.sources.inspection.words import ideas, parts

_FILLERS = frozenset(
    {"no", "nr", "number", "nummer", "id", "name", "num", "code", "position", "pos", "place", "platz"}
)
_PRESS = frozenset({"press", "machine", "maschine", "imm", "presse"})
_TRAY = frozenset({"tray", "rack", "box", "kiste", "karton", "behaelter"})
_PLACE = frozenset({"position", "pos", "place", "platz"})
_CAVITY = frozenset({"cavity", "cav", "nest", "kavitaet", "formnest"})
_MARK = frozenset({"disc", "disk", "mark", "serial", "barcode", "scheibe"})
MOST_CAVITIES = 64


@dataclass(slots=True)
class Roles:
    """Columns by what they name; None where the file has none."""

    counter: SampledColumn | None = None
    press: SampledColumn | None = None
    tray: SampledColumn | None = None
    position: SampledColumn | None = None
    cavity: SampledColumn | None = None
    mark: SampledColumn | None = None

    def taken(self) -> set[int]:
        """Places of the columns that have a role."""
        found = (self.counter, self.press, self.tray, self.position, self.cavity, self.mark)
        return {column.place for column in found if column is not None}


def find_roles(columns: Sequence[SampledColumn], doubts: Doubts) -> Roles:
    """Give each role to the first column that is named for it."""
    roles = Roles(counter=_counter(columns, doubts))
    roles.press = _named(columns, _PRESS, roles)
    roles.position = _named(columns, _PLACE, roles)
    roles.tray = _named(columns, _TRAY, roles)
    roles.cavity = _cavity(columns, roles)
    roles.mark = _named(columns, _MARK, roles)
    if roles.tray is None:
        roles.position = None
    return roles


def _named(columns: Sequence[SampledColumn], words: frozenset[str], roles: Roles) -> SampledColumn | None:
    for column in columns:
        own = {part.lower() for part in parts(column.name) if not part.isdigit()}
        fits = own & words and own <= words | _FILLERS and (column.is_whole or not column.is_numeric)
        if fits and column.written and column.place not in roles.taken():
            return column
    return None


def _counter(columns: Sequence[SampledColumn], doubts: Doubts) -> SampledColumn | None:
    scored = [(score, -column.place, column) for column in columns if (score := _counts(column)) > 0]
    if not scored:
        return None
    score, _, best = max(scored, key=lambda each: each[:2])
    if score < 2:
        doubts.add(
            "counter_column",
            f"column {best.name or best.reference!r} rises by one from row to row, "
            "so it is taken for the press's counter",
        )
    return best


def _counts(column: SampledColumn) -> float:
    """How much a column looks like the counter of cycles: by its name, and by the steps of its numbers."""
    if not column.is_whole or not column.numbers or max(column.numbers) > 2**53:
        return 0
    rises, falls, ones = column.steps()
    changes = rises + falls
    steady = changes > 0 and max(rises, falls) >= 0.7 * changes and 2 * changes >= len(column.numbers) * 0.5
    if not (steady or len(column.numbers) == 1):
        return 0
    said = ideas(column.name)
    by_name = (
        2 * bool(said & {"cycle", "shot"}) + bool(said & {"count"}) - 2 * bool(said & {"part", "set", "time"})
    )
    if by_name <= 0:
        return ones / max(1, changes) if by_name == 0 and ones >= 0.8 * changes and changes >= 5 else 0
    plain = not any("." in text or "," in text for text in column.texts)
    return 1 + by_name + ones / max(1, changes) + 0.1 * plain


def _cavity(columns: Sequence[SampledColumn], roles: Roles) -> SampledColumn | None:
    """The column of the cavity: small whole numbers, and rows of one shot follow one another."""
    found = _named(columns, _CAVITY, roles)
    if (
        found is None
        or not found.is_whole
        or not 1 <= min(found.numbers) <= max(found.numbers) <= MOST_CAVITIES
    ):
        return None
    return found if max(found.numbers) > 1 else None


def note_counter(
    counter: SampledColumn | None, *, newest_first: bool, cavities: bool, doubts: Doubts
) -> None:
    """Say what is odd in the counter: falls, and counts that come again."""
    if counter is None:
        doubts.add(
            "counter_column",
            "no column is taken for the press's counter, so a shot is known by its time alone",
        )
        return
    rises, falls, _ = counter.steps()
    resets = rises if newest_first else falls
    if resets:
        doubts.add(
            "counter_column",
            f"the counter falls in the sample ({resets} x), which is taken for a restart of the count",
        )
    again = len(counter.numbers) - 1 - rises - falls
    if again > 0 and not cavities:
        doubts.add(
            "counter_column",
            f"{again} sampled rows repeat the count of the row before and are taken for the same shot again, "
            "so rows of several cavities would need cavity_column",
        )
