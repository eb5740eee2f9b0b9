"""One characteristic over the shots of a run: values, limits in force, levels between change points.

For paper as much as for a screen: nothing needs a pointer, and the axis counts shots, whose times may be
unknown. No Streamlit in here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import altair as alt
import pandas as pd

from dashboard.charts.characteristic import axis_title
from dashboard.charts.palette import ACT, DOT, EDGE, LINE, SIGNAL
from dashboard.charts.thinning import thin

WIDTH, HEIGHT = 690, 150
INK = EDGE
ROOM = 0.25  # beyond steady values and limits, as a part of their range
Domain = tuple[int, int]
Layers = alt.LayerChart | alt.FacetChart


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """What is drawn of one characteristic.

    Attributes
    ----------
    shots : DataFrame
        Columns at (number of the shot on the axis), value, phase, signaled.
    limits : DataFrame
        One row a version: at, until, lower, upper, standing.
    levels : DataFrame
        One row a stretch between change points: at, until, value.
    holds : DataFrame
        Stretches on hold: at, until.
    changes : DataFrame
        Recorded changes: at.
    """

    shots: pd.DataFrame
    limits: pd.DataFrame
    levels: pd.DataFrame
    holds: pd.DataFrame
    changes: pd.DataFrame


def audit_track(track: Track, *, key: str, unit: str | None, domain: Domain, height: int = HEIGHT) -> Layers:
    """Chart of one characteristic for an audit."""
    track = replace(track, shots=_near(track))
    x, y = shot_axis(domain), value_axis(key, unit)
    layers = [
        *hold_layers(track.holds, x, height), *_change_layers(track.changes, x),
        *_limit_layers(track.limits, x, y), *_value_layers(track.shots, x, y),
        *_level_layers(track.levels, x, y), *_signal_layers(track.shots, x, y),
    ]  # fmt: skip
    return alt.layer(*layers).properties(width=WIDTH, height=height)


def _near(track: Track) -> pd.DataFrame:
    """Shots without those startup shots that would press all others into a line."""
    shots = track.shots
    steady = shots.loc[shots["phase"] != "startup", "value"]
    drawn = pd.concat([steady, track.limits["lower"], track.limits["upper"]]).dropna()
    if drawn.empty:
        return shots
    room = ROOM * (drawn.max() - drawn.min())
    near = shots["value"].between(drawn.min() - room, drawn.max() + room)
    return shots[(shots["phase"] != "startup") | near]


def shot_axis(domain: Domain) -> alt.X:
    """The x encoding of column `at`, the number of a shot."""
    axis = alt.Axis(title="shot", format=",d", tickCount=8, tickMinStep=1, grid=False)
    return alt.X("at:Q", axis=axis, scale=alt.Scale(domain=list(domain), nice=False, zero=False))


def value_axis(key: str, unit: str | None) -> alt.Y:
    """The y encoding of column `value`, with labels in a column of fixed width."""
    axis = alt.Axis(
        title=axis_title(key, unit), minExtent=48, maxExtent=48, tickCount=4, gridOpacity=0.35,
    )  # fmt: skip
    return alt.Y("value:Q", axis=axis, scale=alt.Scale(zero=False, nice=True, padding=6))


def hold_layers(holds: pd.DataFrame, x: alt.X, height: int) -> list[alt.Chart]:
    """Blue bar at the bottom, and a faint ground, where discs were on hold."""
    if holds.empty:
        return []
    chart = alt.Chart(holds).encode(x=x, x2="until:Q")
    return [
        chart.mark_rect(color=ACT, opacity=0.10),
        chart.mark_rect(color=ACT).encode(y=alt.value(height - 5), y2=alt.value(height)),
    ]


def _change_layers(changes: pd.DataFrame, x: alt.X) -> list[alt.Chart]:
    if changes.empty:
        return []
    chart = alt.Chart(changes).encode(x=x)
    return [
        chart.mark_rule(color=LINE, strokeWidth=1, strokeDash=[1, 3]),
        chart.mark_point(shape="triangle-down", filled=True, color=INK, size=45, opacity=1).encode(
            y=alt.value(4)
        ),
    ]


def _limit_layers(limits: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    if limits.empty:
        return []
    sides = {"value_vars": ["lower", "upper"], "value_name": "value"}
    lines = limits.melt(id_vars=["at", "until", "standing"], **sides)
    dash = alt.condition("datum.standing === 'provisional'", alt.value([2, 4]), alt.value([9, 5]))
    chart = alt.Chart(lines).mark_rule(color=LINE, strokeWidth=1.5)
    return [chart.encode(x=x, x2="until:Q", y=y, strokeDash=dash)]


def _value_layers(shots: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """One path for all shots keeps the document small; startup is a path of its own, broken and paler."""
    kept = thin(shots, "value", keep=shots["signaled"])
    steady = kept["phase"] != "startup"
    drawn = [alt.Chart(kept[steady]).mark_line(color=DOT, strokeWidth=0.9, opacity=0.85).encode(x=x, y=y)]
    if not steady.all():
        startup = alt.Chart(kept[~steady])
        drawn.append(
            startup.mark_point(color=DOT, size=14, strokeWidth=1, filled=False, opacity=0.9).encode(x=x, y=y)
        )
    return drawn


def _level_layers(levels: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    if levels.empty:
        return []
    return [alt.Chart(levels).mark_rule(color=INK, strokeWidth=2.5).encode(x=x, x2="until:Q", y=y)]


def _signal_layers(shots: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    signaled = shots[shots["signaled"] & shots["value"].notna()]
    if signaled.empty:
        return []
    return [
        alt.Chart(signaled)
        .mark_point(shape="diamond", size=42, fill=SIGNAL, stroke=EDGE, strokeWidth=0.9, opacity=1)
        .encode(x=x, y=y)
    ]
