"""Readings of the discs of one run, by the shot that made each. No Streamlit in here."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.audit_track import INK, WIDTH, Domain, Layers, hold_layers, shot_axis, value_axis
from dashboard.charts.palette import DOT, LINE, SIGNAL

HEIGHT = 170


def audit_readings(
    discs: pd.DataFrame,
    *,
    key: str,
    unit: str | None,
    domain: Domain,
    holds: pd.DataFrame,
    tolerance: tuple[float | None, float | None] | None,
) -> Layers:
    """Every gauged disc as a point: a diamond where its shot was flagged, a circle where it was not.

    Parameters
    ----------
    discs : DataFrame
        Columns at (number of the shot on the axis), value, flagged.
    key, unit : str
        Of the value axis.
    domain : tuple of int
        First and last shot of the axis.
    holds : DataFrame
        Stretches on hold: at, until.
    tolerance : tuple or None
        Lowest and highest allowed value, None where there is none.
    """
    x, y = shot_axis(domain), value_axis(key, unit)
    flagged = discs["flagged"]
    layers = [
        *hold_layers(holds, x, HEIGHT),
        *_tolerance_layers(tolerance, y),
        alt.Chart(discs[~flagged]).mark_point(shape="circle", filled=True, color=DOT, size=34, opacity=0.9)
        .encode(x=x, y=y),
        alt.Chart(discs[flagged])
        .mark_point(shape="diamond", fill=SIGNAL, stroke=INK, strokeWidth=0.9, size=60, opacity=1)
        .encode(x=x, y=y),
    ]  # fmt: skip
    return alt.layer(*layers).properties(width=WIDTH, height=HEIGHT)


def _tolerance_layers(tolerance: tuple[float | None, float | None] | None, y: alt.Y) -> list[alt.Chart]:
    drawn = [limit for limit in tolerance or () if limit is not None]
    if not drawn:
        return []
    frame = pd.DataFrame({"value": drawn, "word": "tolerance"})
    base = alt.Chart(frame).encode(y=y)
    return [
        base.mark_rule(color=LINE, strokeWidth=1.5, strokeDash=[9, 5]),
        base.mark_text(color=LINE, align="left", dx=4, dy=-5, fontSize=11).encode(
            x=alt.value(0), text="word:N"
        ),
    ]
