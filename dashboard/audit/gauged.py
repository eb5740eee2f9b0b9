"""What the gaugings of a run say: how many, how old, how far apart, and which discs differ. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from collector.gauging.age import standing
from dashboard.audit import decided
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import GaugingFact, HoldFact
from rules.dome import link

FIRST = ("dome", "diameter", "weight")
ALIKE_AGES_H = 12.0  # discs go on shrinking for days, slower and slower; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Ages:
    """Ages of the readings at the gauge, h."""

    known: int
    unknown: int
    low: float | None
    middle: float | None
    high: float | None


Group = Literal["touched", "flagged"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Discs of a group against the other discs of the run.

    Attributes
    ----------
    group : {'touched', 'flagged'}
        touched: their shots lie where the process was away from its baseline, seen afterwards. flagged: what
        was known at the time, so a cautious hold counts in full.
    difference : Difference
    age_gap_h : float or None
        How much older the discs of the group were when gauged, where that spoils the comparison.
    left_out : int
        Discs that were left out because they were gauged at another age.
    at_all_ages : Difference or None
        The same with those discs, as the Dome page compares; None where none was left out.
    """

    group: Group
    difference: link.Difference
    age_gap_h: float | None
    left_out: int
    at_all_ages: link.Difference | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauged:
    """Gaugings of one characteristic.

    Attributes
    ----------
    readings : int
        All that count.
    final, provisional, unknown : int
        Readings past the set time, before it, and of unknown age where age matters.
    joined : mapping of str to int
        How the readings found their shots; "" for those that did not.
    offsets : tuple of int
        Offsets of the lists that were joined by order.
    mean, sd, low, high : float or None
        Over the final readings, one value a disc; over those of unknown age where none is final.
    outside : int or None
        Discs outside the tolerance; None without one.
    discs : int
        Discs behind `mean`.
    compared : tuple of Compared
        Empty where no reading is final.
    """

    characteristic: str
    unit: str
    readings: int
    final: int
    provisional: int
    unknown: int
    ages: Ages
    joined: Mapping[str, int]
    offsets: tuple[int, ...]
    gauges: tuple[str, ...]
    discs: int
    mean: float | None
    sd: float | None
    low: float | None
    high: float | None
    tolerance: tuple[float | None, float | None] | None
    outside: int | None
    compared: tuple[Compared, ...]


def summaries(evidence: Evidence, touched: frozenset[int]) -> tuple[Gauged, ...]:
    """One summary a characteristic, dome first."""
    by_key: dict[str, list[GaugingFact]] = {}
    for fact in evidence.gaugings:
        by_key.setdefault(fact.characteristic, []).append(fact)
    order = sorted(by_key, key=lambda key: (FIRST.index(key) if key in FIRST else len(FIRST), key))
    groups: dict[Group, frozenset[int]] = {"touched": touched, "flagged": flagged(evidence)}
    return tuple(_summary(evidence, key, by_key[key], groups) for key in order)


def flagged(evidence: Evidence) -> frozenset[int]:
    """Places of the shots that signaled or lie on a hold that flags."""
    frame = evidence.shot_list.frame
    found = {int(place) for place in np.flatnonzero(frame["signaled"].to_numpy(dtype=bool))}
    for hold in flagging(evidence):
        found.update(decided.span(evidence, hold))
    return frozenset(found)


def flagging(evidence: Evidence) -> list[HoldFact]:
    """Holds of alarms of the press; one that a gauging opened would foretell what it follows from."""
    foretold = {alarm.id for alarm in evidence.alarms if alarm.kind != "gauging"}
    return [hold for hold in evidence.holds if hold.alarm_id in foretold]


def _summary(
    evidence: Evidence, key: str, facts: Sequence[GaugingFact], groups: Mapping[Group, frozenset[int]]
) -> Gauged:
    stands = [standing(key, fact.age_h) for fact in facts]
    counts = Counter(stands)
    usable = "final" if counts["final"] else "unknown"
    kept = [fact for fact, stand in zip(facts, stands, strict=True) if stand == usable]
    discs = one_a_disc(kept)
    x = np.array(list(discs.values()))
    tolerance = evidence.tolerances.get(key)
    return Gauged(
        characteristic=key, unit=facts[0].unit, readings=len(facts), final=counts["final"],
        provisional=counts["provisional"], unknown=counts["unknown"], ages=_ages(facts),
        joined=dict(sorted(Counter(fact.joined_by or "" for fact in facts).items())),
        offsets=tuple(sorted({f.order_offset for f in facts if f.order_offset is not None})),
        gauges=tuple(sorted({fact.gauge for fact in facts if fact.gauge})), discs=len(x),
        mean=float(x.mean()) if len(x) else None, sd=float(x.std(ddof=1)) if len(x) > 1 else None,
        low=float(x.min()) if len(x) else None, high=float(x.max()) if len(x) else None,
        tolerance=tolerance,
        outside=None if tolerance is None else sum(is_outside(value, tolerance) for value in x.tolist()),
        compared=tuple(_compared(discs, kept, groups)) if usable == "final" and discs else (),
    )  # fmt: skip


def one_a_disc(facts: Sequence[GaugingFact]) -> dict[int, float]:
    """Mean reading of each disc that found its shot, by place."""
    readings: dict[int, list[float]] = {}
    for fact in facts:
        if fact.place is not None:
            readings.setdefault(fact.place, []).append(fact.value)
    return {place: float(np.mean(values)) for place, values in sorted(readings.items())}


def is_outside(value: float, tolerance: tuple[float | None, float | None]) -> bool:
    """Whether a value lies outside a tolerance, which may have one side only."""
    low, high = tolerance
    return (low is not None and value < low) or (high is not None and value > high)


def _ages(facts: Sequence[GaugingFact]) -> Ages:
    known = [fact.age_h for fact in facts if fact.age_h is not None]
    if not known:
        return Ages(known=0, unknown=len(facts), low=None, middle=None, high=None)
    return Ages(
        known=len(known), unknown=len(facts) - len(known), low=min(known), middle=float(np.median(known)),
        high=max(known),
    )  # fmt: skip


def _compared(
    discs: Mapping[int, float], facts: Sequence[GaugingFact], groups: Mapping[Group, frozenset[int]]
) -> Iterator[Compared]:
    """Each group that has any shot at all, against the rest; at like ages where these differ."""
    ages = _age_of_discs(facts)
    for group, inside in groups.items():
        if not inside:
            continue
        gap = _age_gap(ages, inside)
        if gap is not None:
            near = _of_like_age(discs, ages, inside)
            found = _difference(near, inside)
            if found.interval is not None:
                left_out = len(discs) - len(near)
                every = _difference(discs, inside) if left_out else None
                yield Compared(
                    group=group, difference=found, age_gap_h=None, left_out=left_out, at_all_ages=every
                )
                continue
        yield Compared(group=group, difference=_difference(discs, inside), age_gap_h=gap, left_out=0)


def _difference(discs: Mapping[int, float], inside: frozenset[int]) -> link.Difference:
    flags = [place in inside for place in discs]
    return link.compare(list(discs.values()), flags, ["this run"] * len(flags))


def _age_of_discs(facts: Sequence[GaugingFact]) -> dict[int, float]:
    """Mean age of the readings of each disc, by place, where it is known."""
    ages: dict[int, list[float]] = {}
    for fact in facts:
        if fact.place is not None and fact.age_h is not None:
            ages.setdefault(fact.place, []).append(fact.age_h)
    return {place: float(np.mean(found)) for place, found in ages.items()}


def _of_like_age(
    discs: Mapping[int, float], ages: Mapping[int, float], inside: frozenset[int]
) -> dict[int, float]:
    """Discs gauged at about the age at which most of the others were."""
    usual = float(np.median([age for place, age in ages.items() if place not in inside]))
    return {
        place: value
        for place, value in discs.items()
        if place in ages and abs(ages[place] - usual) <= ALIKE_AGES_H
    }


def _age_gap(ages: Mapping[int, float], inside: frozenset[int]) -> float | None:
    """How much older the discs of the group were, None where that is little or not known."""
    mine = [age for place, age in ages.items() if place in inside]
    rest = [age for place, age in ages.items() if place not in inside]
    if not mine or not rest:
        return None
    gap = float(np.median(mine) - np.median(rest))
    return gap if abs(gap) > ALIKE_AGES_H else None
