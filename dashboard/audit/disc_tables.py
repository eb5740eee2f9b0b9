"""The tables about discs and other runs, cell by cell in words. Pure."""

from __future__ import annotations

from collector.contract import quantities
from collector.contract.figures import significant
from dashboard.audit import words
from dashboard.audit.audit import Audit
from dashboard.audit.capable import Capable
from dashboard.audit.compare import Against
from dashboard.audit.gauged import Ages, Gauged
from dashboard.audit.tables import Table
from dashboard.audit.words import NONE
from rules.dome.welch import Interval


def gaugings(audit: Audit) -> Table:
    """Gaugings by characteristic, dome first."""
    return Table(
        ("Characteristic", "Readings", "Joined by", "Ages", "Discs", "Mean", "Standard deviation", "Range",
         "Tolerance", "Outside"), [_gauged(each) for each in audit.found.gauged],
        "No disc of this run has been gauged.", (4, 5, 6, 9),
    )  # fmt: skip


def _gauged(each: Gauged) -> tuple[str, ...]:
    def write(value: float | None) -> str:
        return NONE if value is None else quantities.format_value(each.characteristic, value, each.unit)

    return (
        quantities.label(each.characteristic), _standings(each), _joined(each), _ages(each.ages),
        f"{each.discs:,}", write(each.mean), write(each.sd), f"{write(each.low)} to {write(each.high)}",
        NONE if each.tolerance is None else f"{write(each.tolerance[0])} to {write(each.tolerance[1])}",
        NONE if each.outside is None else f"{each.outside:,}",
    )  # fmt: skip


def _standings(each: Gauged) -> str:
    counts = {
        "final": each.final, "before the set time": each.provisional, "of unknown age": each.unknown,
    }  # fmt: skip
    return ", ".join(f"{n:,} {word}" for word, n in counts.items() if n)


def _joined(each: Gauged) -> str:
    told = ", ".join(by or "not joined" for by in each.joined)
    if "order" in each.joined:
        told += f", offset {', '.join(str(offset) for offset in each.offsets)}"
    return told


def _ages(ages: Ages) -> str:
    unknown = f"{ages.unknown:,} unknown" if ages.unknown else ""
    if ages.low is None or ages.high is None or ages.middle is None:
        return unknown
    known = f"{ages.low:.1f} to {ages.high:.1f} h, half by {ages.middle:.1f} h"
    return f"{known}; {unknown}" if unknown else known


def capabilities(audit: Audit) -> Table:
    """Whether the process keeps to the tolerance, as indices with their intervals."""
    return Table(
        ("Characteristic", "Discs", "Pp (95 %)", "Ppk (95 %)", "Out of a thousand to be expected (95 %)",
         "To be kept in mind"),
        [_capable(each) for each in audit.found.capable],
        "No gauged characteristic of this mold has a tolerance.", (1,),
    )  # fmt: skip


def _capable(each: Capable) -> tuple[str, ...]:
    name, found = quantities.label(each.characteristic), each.result
    if found is None:
        return name, f"{each.discs:,}", NONE, NONE, NONE, each.why_not
    return (
        name, f"{each.discs:,}", NONE if found.pp is None else _index(found.pp), _index(found.ppk),
        _in_a_thousand(found.rejects.total), " ".join(found.notes) or NONE,
    )  # fmt: skip


def _index(each: Interval) -> str:
    return f"{each.estimate:.2f} ({each.low:.2f} to {each.high:.2f})"


def _in_a_thousand(ppm: Interval) -> str:
    estimate, low, high = (significant(value / 1000) for value in (ppm.estimate, ppm.low, ppm.high))
    return f"{estimate} ({low} to {high})"


def discs(audit: Audit) -> Table:
    """Touched and flagged discs against the others."""
    rows = [
        (
            quantities.label(each.characteristic), words.GROUPS[compared.group],
            f"{compared.difference.flagged:,}", f"{compared.difference.unflagged:,}",
            words.interval(each.characteristic, each.unit, compared), compared.difference.certainty,
            "; ".join(words.reasons(each.characteristic, each.unit, compared)) or NONE,
        )
        for each in audit.found.gauged
        for compared in each.compared
    ]  # fmt: skip
    return Table(
        ("Characteristic", "Group", "Discs", "Others", "Difference", "Certainty", "But"), rows,
        "No final readings that could be compared, or no flagged shot.", (2, 3),
    )  # fmt: skip


def comparison(audit: Audit) -> Table:
    """Level and spread beside other runs."""
    evidence = audit.evidence
    units = {**evidence.units, **{each.characteristic: each.unit for each in audit.found.gauged}}
    rows = [_beside(each, units.get(each.key)) for each in audit.found.against]
    return Table(
        ("Characteristic", "Values", "Level here", "Level of one more run (95 %)", "", "Spread here",
         "Spread of one more run (95 %)", ""), rows, "Nothing can be compared.", (1, 2, 5),
    )  # fmt: skip


def _beside(each: Against, unit: str | None) -> tuple[str, ...]:
    def write(value: float) -> str:
        return quantities.format_value(each.key, value, unit)

    def span(pair: tuple[float, float] | None) -> str:
        return "too few runs" if pair is None else f"{write(pair[0])} to {write(pair[1])}"

    return (
        quantities.label(each.key), f"{each.here.n:,}", write(each.here.mean), span(each.level_range),
        _verdict(each.unusual_level), write(each.here.sd), span(each.spread_range),
        _verdict(each.unusual_spread),
    )  # fmt: skip


def _verdict(unusual: bool | None) -> str:  # noqa: FBT001 - the fact itself
    return "" if unusual is None else "unusual" if unusual else "usual"


def others(audit: Audit) -> Table:
    """The runs it was compared with."""
    rows = [
        (
            each.name, audit.clock.at(each.opened_at), each.lot or NONE, f"{each.shots:,}",
            f"{each.signaled:,}", "a hold was scrapped, not used" if each.scrapped else "used",
        )
        for each in audit.evidence.others
    ]  # fmt: skip
    return Table(
        ("Run", "Opened", "Lot", "Steady shots", "With a signal", ""), rows,
        "No other closed run of this press has the same mold, blend, color and recipe version.", (3, 4),
    )  # fmt: skip
