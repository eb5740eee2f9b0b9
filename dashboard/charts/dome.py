"""Charts of disc readings: flagged against unflagged, and what goes along with each characteristic."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import altair as alt
import pandas as pd

FLAGGED, UNFLAGGED = "flagged", "not flagged"
YELLOW, INK = "#f6b800", "#1b1e23"
GRAY = {False: "#6b727c", True: "#9aa2ad"}  # by whether the background is dark
PAGE = {False: "#f6f7f8", True: "#121519"}
GROUPS = [UNFLAGGED, FLAGGED]
CERTAINTIES = ["clear", "weak"]
SIDES = {UNFLAGGED: -0.45, FLAGGED: 0.45}
GOLDEN = 0.618033988749895  # steps of the golden ratio fill a width evenly, however many there are

# What Altair says that it gives back for charts laid over each other.
Layers = alt.LayerChart | alt.FacetChart


def readings(
    discs: pd.DataFrame,
    means: pd.DataFrame,
    *,
    label: str,
    unit: str,
    limits: Sequence[float] = (),
    dark: bool = False,
) -> Layers:
    """Every disc as a point, by run, flagged beside unflagged, with means, intervals and tolerance.

    Parameters
    ----------
    discs : DataFrame
        Columns group ("flagged" or "not flagged"), series (run with its mold), value, disc (its words).
    means : DataFrame
        Columns group, series, mean, low, high, n; low and high may be missing.
    label, unit : str
        Of the value axis.
    limits : sequence of float
        Tolerance limits to draw.
    dark : bool
        Colors for a dark background.
    """
    ink = _ink(dark=dark)
    title = f"{label}, {unit}"
    order = list(dict.fromkeys(discs["series"]))
    x = alt.X("series:N", title=None, sort=order, axis=alt.Axis(labelAngle=0, labelLimit=220, labelColor=ink))
    side = alt.XOffset("side:Q", scale=alt.Scale(domain=[-1, 1]))
    y = alt.Y("value:Q", scale=alt.Scale(zero=False, padding=20), axis=_axis(title, ink))
    domain = alt.Scale(domain=GROUPS, range=["circle", "diamond"])
    legend = alt.Legend(orient="top", labelColor=ink, labelFontSize=14, symbolSize=150, symbolStrokeWidth=0.8)
    # The two groups differ by color, shape and place; the legend names both.
    points = alt.Chart(beside(discs)).mark_point(size=75, stroke=INK, strokeWidth=0.8, opacity=0.85).encode(
        x=x, xOffset=side, y=y, shape=alt.Shape("group:N", title=None, scale=domain, legend=legend),
        fill=alt.Fill("group:N", title=None, scale=alt.Scale(domain=GROUPS, range=[GRAY[dark], YELLOW])),
        tooltip=[
            alt.Tooltip("disc:N", title="Disc"), alt.Tooltip("series:N", title="Run"),
            alt.Tooltip("value:Q", title=title, format=".3~f"), alt.Tooltip("group:N", title="Flag"),
        ],
    )  # fmt: skip
    base = alt.Chart(means.assign(side=means["group"].map(SIDES))).encode(x=x, xOffset=side)
    spans = base.mark_rule(strokeWidth=4, color=ink).encode(y="low:Q", y2="high:Q")
    ticks = base.mark_tick(thickness=4, color=ink, size=44).encode(
        y="mean:Q",
        tooltip=[
            alt.Tooltip("mean:Q", title=f"Mean, {unit}", format=".3~f"),
            alt.Tooltip("low:Q", title="95 % from", format=".3~f"),
            alt.Tooltip("high:Q", title="to", format=".3~f"), alt.Tooltip("n:Q", title="Discs"),
        ],
    )  # fmt: skip
    return alt.layer(points, spans, ticks, *_tolerance(limits, ink)).properties(height=420)


def beside(discs: pd.DataFrame) -> pd.DataFrame:
    """Give each point a place left or right of its run's middle, spread so that few hide one another.

    The spread follows the order of the rows, so the same discs give the same picture.
    """
    turn = discs.groupby(["series", "group"]).cumcount().to_numpy()
    spread = (turn * GOLDEN) % 1.0 - 0.5
    return discs.assign(side=discs["group"].map(SIDES).to_numpy(dtype=float) + 0.5 * spread)


def effects(frame: pd.DataFrame, *, label: str, unit: str, dark: bool = False) -> Layers:
    """One mark with its interval for each characteristic: the change of the reading over its usual spread.

    A full mark is clear, a hollow one is not.

    Parameters
    ----------
    frame : DataFrame
        Columns name, estimate, low, high, slope (words), certainty ("clear" or "weak").
    label, unit : str
        Of the reading.
    dark : bool
        Colors for a dark background.
    """
    ink = _ink(dark=dark)
    y = alt.Y("name:N", title=None, sort=list(frame["name"]), axis=alt.Axis(labelLimit=260, labelColor=ink))
    x = alt.X("low:Q", axis=_axis(f"Change of {label.lower()} over one usual spread, {unit}", ink))
    legend = alt.Legend(orient="top", labelColor=ink, labelFontSize=14, symbolSize=150, symbolType="circle")
    spans = alt.Chart(frame).mark_rule(strokeWidth=3, color=ink).encode(x=x, x2="high:Q", y=y)
    marks = alt.Chart(frame).mark_point(
        shape="circle", size=150, stroke=ink, strokeWidth=2.5, opacity=1
    ).encode(
        x="estimate:Q", y=y,
        fill=alt.Fill(
            "certainty:N", title=None, legend=legend,
            scale=alt.Scale(domain=CERTAINTIES, range=[ink, PAGE[dark]]),
        ),
        tooltip=[
            alt.Tooltip("name:N", title="Characteristic"), alt.Tooltip("slope:N", title="Slope"),
            alt.Tooltip("certainty:N", title="Certainty"),
        ],
    )  # fmt: skip
    zero = alt.Chart(pd.DataFrame({"zero": [0.0]})).mark_rule(color=ink, strokeDash=[4, 4]).encode(x="zero:Q")
    # Legend and axis take their part of the height too.
    return alt.layer(zero, spans, marks).properties(height=130 + 36 * len(frame))


def _ink(*, dark: bool) -> str:
    return "#dfe4ea" if dark else "#3a4048"


def _axis(title: str, ink: str) -> alt.Axis:
    return alt.Axis(title=title, labelColor=ink, titleColor=ink, labelFontSize=13, titleFontSize=14)


def _tolerance(limits: Sequence[float], ink: str) -> list[Layers]:
    if not limits:
        return []
    # Each name on the far side of its line: between two that lie close together there is no room.
    sides = [*(["below"] if len(limits) > 1 else []), "above"]
    frame = pd.DataFrame({"limit": sorted(limits), "side": sides, "words": ["tolerance"] * len(limits)})
    line = alt.Chart(frame).mark_rule(strokeDash=[8, 5], strokeWidth=1.5, color=ink).encode(y="limit:Q")
    beside_line: tuple[tuple[str, Literal["bottom", "top"], int], ...] = (
        ("above", "bottom", -3), ("below", "top", 4),
    )  # fmt: skip
    names = [
        alt.Chart(frame[frame["side"] == side])
        .mark_text(align="left", baseline=baseline, dx=4, dy=dy, fontSize=13, color=ink)
        .encode(x=alt.value(0), y="limit:Q", text="words:N")
        for side, baseline, dy in beside_line
    ]
    return [alt.layer(line, *names)]
