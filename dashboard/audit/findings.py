"""What follows from the evidence: shifts, gaugings, comparison. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.audit import capable, compare, gauged, shifts
from dashboard.audit.capable import Capable
from dashboard.audit.compare import Against
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import Level
from dashboard.audit.gauged import Gauged
from dashboard.audit.levels import level_of
from dashboard.audit.shifts import Excursion, History

CAPPED_SIGMAS = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """Computed from the evidence alone.

    Attributes
    ----------
    histories : tuple of History
        One a charted characteristic.
    strong, quiet : tuple of Excursion
        Away from the baseline with and without a signal; those that matter to most discs first.
    touched : tuple of int
        Places of the shots inside a strong excursion.
    gauged : tuple of Gauged
    capable : tuple of Capable
        Of the gauged characteristics, those with a tolerance.
    against : tuple of Against
        Characteristics of shots, then of discs.
    """

    histories: tuple[History, ...]
    strong: tuple[Excursion, ...]
    quiet: tuple[Excursion, ...]
    touched: tuple[int, ...]
    gauged: tuple[Gauged, ...]
    capable: tuple[Capable, ...]
    against: tuple[Against, ...]


def findings(evidence: Evidence) -> Findings:
    """Work out everything that the document states as a number."""
    histories = tuple(_history(evidence, key) for key in sorted(evidence.values.columns))
    away = sorted((each for found in histories for each in found.excursions), key=_weight, reverse=True)
    strong = tuple(each for each in away if each.signaled)
    touched = tuple(sorted({p for each in strong for p in range(each.first, each.last + 1)}))
    summaries = gauged.summaries(evidence, frozenset(touched))
    return Findings(
        histories=histories, strong=strong, quiet=tuple(each for each in away if not each.signaled),
        touched=touched, gauged=summaries, capable=capable.capabilities(evidence, summaries),
        against=(*_shot_levels(evidence), *_disc_levels(evidence, summaries)),
    )  # fmt: skip


def _history(evidence: Evidence, key: str) -> History:
    limits = [each for each in evidence.in_force if each.key == key]
    signaled = evidence.signal_places.get(key, ())
    return shifts.history(key, evidence.values[key], evidence.shot_list, limits, signaled)


def _weight(each: Excursion) -> tuple[float, str, int]:
    # A lasting shift concerns more discs than one bad shot, however far off that shot was.
    return min(abs(each.sigmas), CAPPED_SIGMAS) * (each.last - each.first + 1), each.key, -each.first


def _shot_levels(evidence: Evidence) -> list[Against]:
    steady = evidence.values.iloc[evidence.shot_list.steady]
    here = [level_of(key, steady[key]) for key in steady.columns if key not in evidence.timers]
    others = [level for other in compare.usable(evidence.others) for level in other.levels]
    return [_against(each, others) for each in here if each is not None]


def _disc_levels(evidence: Evidence, summaries: tuple[Gauged, ...]) -> list[Against]:
    others = [level for other in compare.usable(evidence.others) for level in other.discs]
    here = [
        Level(key=each.characteristic, n=each.discs, mean=each.mean, sd=each.sd)
        for each in summaries
        if each.final and each.mean is not None and each.sd is not None
    ]
    return [_against(each, others) for each in here]


def _against(here: Level, others: list[Level]) -> Against:
    return compare.against(here, [other for other in others if other.key == here.key])
