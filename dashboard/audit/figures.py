"""The figures of the document: the charts of the pages as SVG, without a browser."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import vl_convert

from collector.contract import quantities
from dashboard.audit import decided, gauged
from dashboard.audit.audit import Audit
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import HoldFact
from dashboard.audit.gauged import Gauged
from dashboard.audit.shifts import History
from dashboard.charts.audit_readings import audit_readings
from dashboard.charts.audit_track import Domain, Track, audit_track
from dashboard.queries.hold_extent import merged

FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
STYLE = {
    "aria": False, "background": "transparent", "font": FONT, "view": {"stroke": "#c6cad0"},
    "axis": {"labelFontSize": 10, "titleFontSize": 11, "titleFontWeight": "normal",
             "labelColor": "#3f464f", "titleColor": "#1b1e23",
             "gridColor": "#c6cad0", "domainColor": "#737a85", "tickColor": "#737a85"},
}  # fmt: skip
CHANGES = ("setpoint", "lot", "stop", "gap", "epoch")


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing with what it shows in words."""

    title: str
    svg: str


def tracks(audit: Audit) -> list[Figure]:
    """One figure a charted characteristic, those that went away from their baseline first."""
    order = {each.key: index for index, each in enumerate((*audit.found.strong, *audit.found.quiet))}
    histories = sorted(audit.found.histories, key=lambda each: (order.get(each.key, len(order)), each.key))
    drawn = [each for each in histories if each.n and not _constant(audit.evidence, each)]
    return [_track(audit.evidence, each) for each in drawn]


def readings(audit: Audit) -> list[Figure]:
    """One figure a gauged characteristic that found its shots."""
    flags = gauged.flagged(audit.evidence)
    drawn = [_readings(audit.evidence, each, flags) for each in audit.found.gauged]
    return [figure for figure in drawn if figure is not None]


def svg(chart: Any) -> str:
    """A chart as SVG that can stand inside HTML: scaled to its column, with no address in it."""
    specification = {**chart.to_dict(validate=False), "config": STYLE}
    drawn: str = vl_convert.vegalite_to_svg(specification)
    drawn = re.sub(r'\sxmlns(:\w+)?="[^"]*"', "", drawn)
    return re.sub(r'^<svg([^>]*?) width="[^"]*" height="[^"]*"', r"<svg\1", drawn, count=1)


def _constant(evidence: Evidence, each: History) -> bool:
    return each.key in evidence.timers and not each.shifts and each.key not in evidence.signal_places


def _track(evidence: Evidence, each: History) -> Figure:
    shots = pd.DataFrame({
        "at": axis_numbers(evidence), "value": evidence.values[each.key].to_numpy(),
        "phase": evidence.shot_list.frame["phase"].to_numpy(),
        "signaled": _marked(len(evidence.shot_list), evidence.signal_places.get(each.key, ())),
    })  # fmt: skip
    track = Track(
        shots=shots, limits=_limits(evidence, each.key), levels=_levels(evidence, each),
        holds=_holds(evidence, evidence.holds), changes=_changes(evidence),
    )  # fmt: skip
    chart = audit_track(track, key=each.key, unit=evidence.units.get(each.key), domain=_domain(evidence))
    return Figure(quantities.label(each.key), svg(chart))


def _readings(evidence: Evidence, each: Gauged, flags: frozenset[int]) -> Figure | None:
    facts = [fact for fact in evidence.gaugings if fact.characteristic == each.characteristic]
    discs = gauged.one_a_disc(facts)
    if not discs:
        return None
    numbers = axis_numbers(evidence)
    frame = pd.DataFrame({
        "at": [int(numbers[place]) for place in discs], "value": list(discs.values()),
        "flagged": [place in flags for place in discs],
    })  # fmt: skip
    chart = audit_readings(
        frame, key=each.characteristic, unit=each.unit, domain=_domain(evidence),
        holds=_holds(evidence, gauged.flagging(evidence)), tolerance=each.tolerance,
    )  # fmt: skip
    return Figure(quantities.label(each.characteristic), svg(chart))


def axis_numbers(evidence: Evidence) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Numbers of the shots on an axis: their counters where these only rise, else their order from 1."""
    counters = evidence.shot_list.counters
    if evidence.shots.epochs > 1 or any(counter is None for counter in counters):
        return np.arange(1, len(counters) + 1)
    return np.asarray(counters, dtype=np.int64)


def _domain(evidence: Evidence) -> Domain:
    numbers = axis_numbers(evidence)
    return int(numbers[0]), max(int(numbers[-1]), int(numbers[0]) + 1)


def _marked(n: int, places: Sequence[int]) -> np.ndarray[Any, np.dtype[np.bool_]]:
    marked = np.zeros(n, dtype=bool)
    marked[list(places)] = True
    return marked


def _limits(evidence: Evidence, key: str) -> pd.DataFrame:
    numbers = axis_numbers(evidence)
    rows = [
        (int(numbers[each.first]), int(numbers[each.last]), each.lines[0], each.lines[2], each.standing)
        for each in evidence.in_force
        if each.key == key and each.lines is not None
    ]
    return pd.DataFrame(rows, columns=["at", "until", "lower", "upper", "standing"])


def _levels(evidence: Evidence, each: History) -> pd.DataFrame:
    numbers = axis_numbers(evidence)
    rows = [(int(numbers[s.first]), int(numbers[s.last]), s.level) for s in each.stretches]
    return pd.DataFrame(rows, columns=["at", "until", "value"])


def _holds(evidence: Evidence, holds: Sequence[HoldFact]) -> pd.DataFrame:
    numbers = axis_numbers(evidence)
    spans = (decided.span(evidence, hold) for hold in holds)
    covered = merged((span.start, span.stop - 1) for span in spans if span)
    rows = [(int(numbers[low]), int(numbers[high])) for low, high in covered if high is not None]
    return pd.DataFrame(rows, columns=["at", "until"])


def _changes(evidence: Evidence) -> pd.DataFrame:
    numbers = axis_numbers(evidence)
    places = {event.place for event in evidence.events if event.kind in CHANGES and event.place is not None}
    return pd.DataFrame({"at": [int(numbers[place]) for place in sorted(places)]})
