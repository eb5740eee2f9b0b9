"""Columns with what they are taken for: a value, a setpoint, a characteristic of a disc, or nothing."""

from __future__ import annotations

from dataclasses import dataclass, field

from collector.contract import quantities, units
from collector.sources.inspection import cells, unit_text
from collector.sources.inspection.meaning import Meaning, meaning
from collector.sources.inspection.ranges import KINDS, Usual, usual
from collector.sources.inspection.table import SampledColumn
from collector.sources.inspection.words import ideas


@dataclass(slots=True)
class Mapped:
    """A column that is mapped: the quantity's key, how its cells are read, and what is doubtful about it."""

    column: SampledColumn
    key: str
    unit: str
    factor: float = 1.0
    zero_means_not_written: bool = False
    per_cavity: bool = False
    tolerance: float = 0.0
    doubts: list[str] = field(default_factory=list)

    @property
    def may_be_of_shot(self) -> bool:
        """Whether it is a weight that may have been taken at the press."""
        return self.key.partition(".")[0] == "weight" and "quality" not in ideas(self.column.name)


@dataclass(slots=True)
class Mapping:
    """What is mapped as values, setpoints and characteristics of discs, and what is left out and why."""

    values: list[Mapped] = field(default_factory=list)
    setpoints: list[Mapped] = field(default_factory=list)
    characteristics: list[Mapped] = field(default_factory=list)
    left_out: list[tuple[SampledColumn, str]] = field(default_factory=list)

    def left_out_sentences(self) -> list[str]:
        """What is left out that looks like a quantity, one sentence a reason."""
        reasons: dict[str, list[str]] = {}
        for column, why in self.left_out:
            if column.nonzero or (not column.numbers and _looks_like_a_quantity(column)):
                reasons.setdefault(why, []).append(repr(column.name or column.reference))
        return [f"left out: column {', '.join(names)}: {why}" for why, names in reasons.items()]

    def surely_of_discs(self) -> list[Mapped]:
        """Characteristics that no press could have measured itself."""
        return [each for each in self.characteristics if not each.may_be_of_shot]

    def take_as_of_discs(self) -> None:
        """In a file of gaugings without anything known of discs, what no press sends was measured on them."""
        if self.characteristics:
            return
        for mapped in [each for each in self.values if quantities.find(each.key) is None]:
            mapped.doubts.append("it is taken for something that is measured on the disc")
            self.values.remove(mapped)
            self.characteristics.append(mapped)
        for column, _ in [each for each in self.left_out if each[0].nonzero and not self.characteristics]:
            self.characteristics.append(as_bare_number(as_candidate(column)))
            self.left_out = [each for each in self.left_out if each[0] is not column]

    def weigh_shots(self) -> None:
        """In a file of shots a weight is that of the shot, unless its name says that it was taken later."""
        for mapped in [each for each in self.characteristics if each.may_be_of_shot]:
            mapped.key = f"part_{mapped.key}"
            self.characteristics.remove(mapped)
            self.values.append(mapped)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A numeric column, what its name means, and the unit that the file states for it."""

    column: SampledColumn
    meaning: Meaning
    stated: str | None

    @property
    def range(self) -> Usual | None:
        """Usual range of the quantity, or of the kind of thing that the name speaks of."""
        known = usual(self.meaning.key) if self.meaning.key else None
        if known is not None:
            return known
        return next((range_ for idea, range_ in KINDS.items() if idea in self.meaning.said), None)

    @property
    def possible_units(self) -> tuple[str, ...]:
        """The unit that is stated, where it can measure the quantity; where none is, any that could."""
        if self.range is None:
            return ()
        if self.stated is None:
            return self.range.units
        fits = units.canonical(self.stated) == units.canonical(self.range.units[0])
        return (self.stated,) if fits else ()


def _looks_like_a_quantity(column: SampledColumn) -> bool:
    """Whether a column that holds no numbers is named like a quantity and yet holds no times."""
    candidate, written = as_candidate(column), column.written
    times = sum(cells.is_datum(text) and not cells.is_number(text) for text in written)
    named = candidate.range is not None or candidate.stated is not None
    return named and bool(written) and 2 * times < len(written)


def as_candidate(column: SampledColumn) -> Candidate:
    """A column with what its header says."""
    bare, stated = (column.name, column.unit) if column.unit else unit_text.from_name(column.name)
    return Candidate(column, meaning(bare or column.name, stated), stated)


def as_bare_number(candidate: Candidate) -> Mapped:
    """A column of which nothing is known, under its own name."""
    column = candidate.column
    named = isinstance(column.reference, str)
    key = candidate.meaning.slug if named else f"column_{column.place + 1}"
    doubt = "its name tells neither quantity nor unit, so it is kept as a bare number under its own name"
    return Mapped(column, key, candidate.stated or "1", doubts=[doubt])
