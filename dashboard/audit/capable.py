"""Whether the discs of a run keep to their tolerance as a process, not one by one. Pure.

References
----------
ISO 22514-2:2017, Process capability and performance of time-dependent process models (Pp and Ppk take in all
that happened, which is what a buyer gets).
"""

from __future__ import annotations

from dataclasses import dataclass

from collector.gauging.age import standing
from dashboard.audit.evidence import Evidence
from dashboard.audit.gauged import Gauged, one_a_disc
from rules.capability import Capability, Specification, capability

FEWEST_DISCS = 20  # with fewer an interval of Ppk says nothing; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Capable:
    """One gauged characteristic with a tolerance.

    Attributes
    ----------
    result : Capability or None
        From discs past the set time, one value a disc, in the order of their shots.
    why_not : str
        Why there is no result; empty where there is one.
    """

    characteristic: str
    unit: str
    discs: int
    result: Capability | None
    why_not: str = ""


def capabilities(evidence: Evidence, summaries: tuple[Gauged, ...]) -> tuple[Capable, ...]:
    """One a characteristic that has a tolerance, in the order of the summaries."""
    return tuple(_capable(evidence, each) for each in summaries if each.tolerance is not None)


def _capable(evidence: Evidence, each: Gauged) -> Capable:
    final = [
        fact
        for fact in evidence.gaugings
        if fact.characteristic == each.characteristic and standing(each.characteristic, fact.age_h) == "final"
    ]
    values = list(one_a_disc(final).values())
    result, why_not = None, ""
    if len(values) < FEWEST_DISCS:
        why_not = f"{len(values)} discs past the set time are too few, gauge {FEWEST_DISCS} or more"
    elif len(set(values)) == 1:
        why_not = "all discs read the same, the gauge is too coarse to tell"
    else:
        assert each.tolerance is not None
        low, high = each.tolerance
        result = capability(values, Specification(low=low, high=high))
    return Capable(
        characteristic=each.characteristic, unit=each.unit, discs=len(values), result=result, why_not=why_not
    )
