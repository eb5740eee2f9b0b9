"""The sampled table, column by column."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

from collector.contract.marks import Marks
from collector.sources.inspection import cells
from collector.sources.inspection.layout import Layout

# What presses and spreadsheets write where there is no value. The error values are those of ISO/IEC 29500-1,
# 18.17.3 (from memory); as German spreadsheets show them: common practice, no source.
NOTHING = frozenset(
    {
        "", "-", "--", "---", "n/a", "N/A", "NA", "na", "NaN", "nan", "NULL", "null", "?", "*",
        "#N/A", "#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!",
        "#NV", "#WERT!", "#BEZUG!", "#ZAHL!",
    }
)  # fmt: skip


@dataclass(slots=True)
class SampledColumn:
    """One column: its place from 0, how a profile refers to it, its name, unit, and cells in their order."""

    place: int
    reference: str | int
    name: str
    unit: str | None
    texts: list[str]
    numbers: list[float] = field(default_factory=list)
    marks: Marks = field(default_factory=Marks)

    @property
    def written(self) -> list[str]:
        """Cells that hold something."""
        return [text for text in self.texts if text.strip() not in NOTHING]

    @property
    def is_numeric(self) -> bool:
        """Whether nearly all cells that hold something are numbers; `numbers` must have been filled."""
        return bool(self.numbers) and len(self.numbers) >= 0.9 * len(self.written)

    @property
    def is_whole(self) -> bool:
        """Whether nearly all are whole numbers from 0 on; a line of totals or a header may be among them."""
        plain = [self.marks.plain(text) or "" for text in self.written]
        return bool(plain) and sum(bool(cells.WHOLE.fullmatch(text)) for text in plain) >= 0.9 * len(plain)

    @property
    def nonzero(self) -> list[float]:
        """Numbers that are not zero."""
        return [number for number in self.numbers if number != 0]

    @property
    def middle(self) -> float:
        """Median of the numbers that are not zero."""
        return median(self.nonzero)

    def read_numbers(self, marks: Marks) -> None:
        """Fill `numbers`."""
        self.marks = marks
        read = (cells.value(text, marks) for text in self.written)
        self.numbers = [number for number in read if number is not None]

    def steps(self) -> tuple[int, int, int]:
        """How often the number rises, falls, and rises or falls by exactly one, row by row."""
        pairs = list(zip(self.numbers, self.numbers[1:], strict=False))
        rises = sum(after > before for before, after in pairs)
        falls = sum(after < before for before, after in pairs)
        return rises, falls, sum(abs(after - before) == 1 for before, after in pairs)

    def is_stepwise(self) -> bool:
        """Whether it keeps a value for long and then takes another, as a setting does."""
        changes = sum(after != before for before, after in zip(self.numbers, self.numbers[1:], strict=False))
        return len(self.numbers) >= 10 and changes <= len(self.numbers) / 10


def columns(layout: Layout) -> list[SampledColumn]:
    """The columns of a layout; one whose name is empty, missing or not its own is named by number."""
    head = layout.head
    counts = Counter(head.names)
    rows = [*layout.rows, *layout.later]
    return [
        SampledColumn(
            place,
            _reference(name, place, counts, head.header_rows),
            # Only where the name alone would not tell which is which.
            f"{head.groups[place]} {name}".strip() if counts[name] > 1 else name.strip(),
            head.units[place],
            [row[place] for row in rows],
        )
        for place, name in enumerate(head.names)
    ]


def _reference(name: str, place: int, counts: Counter[str], header_rows: int) -> str | int:
    return name if header_rows and name.strip() and counts[name] == 1 else place + 1


def odd_texts(columns: Sequence[SampledColumn]) -> list[str]:
    """Texts that numeric columns have in place of a number, and that stand for none."""
    found = {text for column in columns if column.numbers for text in column.texts}
    return sorted(text for text in found - {""} if text.strip() in NOTHING)
