"""The dots of a lane as SVG: one short path per kind of mark, whatever the number of shots. Pure."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from collector.store.types import to_micros
from dashboard.queries.floor_facts import WINDOW, Floor, Lane, Mark

# Heights as a part of the plot. Below the limit the scale is straight, so a creeping statistic climbs evenly.
# Above it is logarithmic and ends at three limits: every wild shot stays on the screen, and lies higher the
# wilder it was, while the quiet part keeps most of the room.
LIMIT_AT = 0.62
TOP_SHARE = 3.0
# Shots without limits lie in one flat row: there is nothing yet to be high or low against.
FLAT_AT = 0.10


@dataclass(frozen=True, slots=True)
class Plot:
    """A rectangle of the drawing and the stretch of time that it shows (microseconds since 1970)."""

    left: float
    top: float
    right: float
    bottom: float
    start: int
    end: int

    def x(self, at: int) -> float:
        """Place of a time; what lies outside is moved to the edge."""
        part = (at - self.start) / (self.end - self.start)
        return self.left + min(max(part, 0.0), 1.0) * (self.right - self.left)

    def y(self, share: float | None) -> float:
        """Place of a share of the limit, None for a shot without limits."""
        return self.bottom - height(share) * (self.bottom - self.top)


def plot(floor: Floor, left: float, top: float, right: float, bottom: float) -> Plot:
    """A plot of the floor's two hours in the given rectangle."""
    return Plot(left, top, right, bottom, to_micros(floor.start), to_micros(floor.now))


def height(share: float | None) -> float:
    """Height of a share in the plot, 0 at the bottom and 1 at the top."""
    if share is None or math.isnan(share):
        return FLAT_AT
    if share <= 1.0:
        return max(share, 0.0) * LIMIT_AT
    return LIMIT_AT + (1.0 - LIMIT_AT) * min(math.log(share) / math.log(TOP_SHARE), 1.0)


def marks(area: Plot, shots: Sequence[Mark], size: float) -> str:
    """Dots, rings and diamonds of the shots; `size` is the diameter of a dot."""
    startup = [shot for shot in shots if shot.phase == "startup" and not shot.signaled]
    fine = [shot for shot in shots if shot.phase != "startup" and not shot.signaled]
    signaled = [shot for shot in shots if shot.signaled]
    return "".join(
        (
            _points("dot", area, fine, size),
            _points("ring", area, startup, size),
            _points("ring-hole", area, startup, size * 0.5),
            _diamonds(area, signaled, size * 1.15),
        )
    )


def _points(name: str, area: Plot, shots: Iterable[Mark], size: float) -> str:
    # A line of no length with round ends is a dot, in ten characters.
    path = "".join(f"M{area.x(shot.at):.1f} {area.y(shot.share):.1f}h0" for shot in shots)
    return f'<path class="{name}" d="{path}" stroke-width="{size:.1f}"/>' if path else ""


def _diamonds(area: Plot, shots: Iterable[Mark], half: float) -> str:
    outline = f"l{half:.1f} {half:.1f}l-{half:.1f} {half:.1f}l-{half:.1f} -{half:.1f}z"
    path = "".join(f"M{area.x(shot.at):.1f} {area.y(shot.share) - half:.1f}{outline}" for shot in shots)
    if not path:
        return ""
    # All edges lie under all fills: diamonds that stand close become one yellow band with a dark outline,
    # where edges on top of the neighbors' fills would make a dark bar. The fills cover half of each edge.
    width = 2 * half / 5
    return f'<path class="signal" d="{path}" stroke-width="{width:.1f}" paint-order="stroke"/>'


def hold_bars(area: Plot, lane: Lane, top: float, thickness: float) -> str:
    """Blue bars under the shots that are on hold, and a line where the change began."""
    bars = [
        f'<rect class="hold" x="{left:.1f}" y="{top:.1f}" width="{max(right - left, thickness):.1f}"'
        f' height="{thickness:.1f}"/>'
        for left, right in _stretches(area, lane)
    ]
    change = lane.alarm.change_at if lane.alarm is not None and bars else None
    if change is not None and to_micros(change) > area.start:
        x = area.x(to_micros(change))
        bars.append(
            f'<path class="change" d="M{x:.1f} {area.top:.1f}V{top + thickness:.1f}"'
            f' stroke-width="{thickness / 4:.1f}"/>'
        )
    return "".join(bars)


def _stretches(area: Plot, lane: Lane) -> list[tuple[float, float]]:
    found = []
    for low, high in lane.hold.intervals:
        inside = [shot for shot in lane.marks if low <= shot.at and (high is None or shot.at <= high)]
        if inside:
            begins_before = low < lane.marks[0].at
            found.append((area.left if begins_before else area.x(inside[0].at), area.x(inside[-1].at)))
    return found


def quiet_stretches(area: Plot, lane: Lane, stop_cycles: float) -> list[tuple[float, float]]:
    """Where no shot came for longer than a stop, as left and right edges in the plot."""
    pause = stop_cycles * timedelta(seconds=lane.usual_cycle_s or 60.0) / timedelta(microseconds=1)
    edges = [area.start, *(shot.at for shot in lane.marks), area.end]
    # The last shot may be just before the edge of a running press, so the end needs the lane's own word.
    if lane.activity == "running" and lane.marks:
        edges.pop()
    pairs = itertools.pairwise(edges)
    return [(area.x(left), area.x(right)) for left, right in pairs if right - left > pause]


def grid_hours() -> tuple[tuple[str, float], ...]:
    """Labels of the time axis and their place, as a part of the window."""
    hours = round(WINDOW / timedelta(hours=1))
    return (*((f"-{hours - hour} h", hour / hours) for hour in range(hours)), ("now", 1.0))
