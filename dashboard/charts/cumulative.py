"""The memory of a chart: its cumulative statistic as a share of its limit. No Streamlit in here."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.characteristic import Bounds, Layers
from dashboard.charts.palette import EDGE, LINE, SIGNAL
from dashboard.charts.thinning import thin
from dashboard.charts.time_axis import PADDING, heading, time_axis

HEIGHT = 118
CROWDED = 2.5  # from this top on, the names of 0 and 1 would lie on each other


def cumulative(shares: pd.DataFrame, *, bounds: Bounds, height: int = HEIGHT) -> Layers:
    """Chart of a statistic that gathers small shifts until they count.

    Parameters
    ----------
    shares : DataFrame
        Columns at (shop time), share (1 is the limit), piece (a number that changes where the chart began
        anew), label.
    bounds : tuple of Timestamp
        Start and end of the time axis.
    """
    rows = thin(shares, "share", keep=shares["share"] > 1.0)
    rows = rows.assign(value=rows["share"])
    small: dict[str, Any] = {"titleFontSize": 12, "titleFontWeight": "normal"}
    top = max(1.25, float(rows["value"].max()) * 1.05 if len(rows) else 0.0)
    named = [0, 1] if top < CROWDED else [1]  # the limit is the one to read
    axis = alt.Axis(
        values=named, format=".0f", gridOpacity=0, **(heading("cumulative, as a share of its limit") | small)
    )
    x = time_axis(*bounds)
    y = alt.Y("value:Q", axis=axis, scale=alt.Scale(domain=[0, top]))
    tooltip = [alt.Tooltip("label:N", title="shot"), alt.Tooltip("share:Q", title="share", format=".2f")]
    base = alt.Chart(rows).encode(x=x, y=y, tooltip=tooltip)
    limit = pd.DataFrame({"value": [1.0]})
    return alt.layer(
        alt.Chart(limit).mark_rule(color=LINE, strokeDash=[9, 5], strokeWidth=1.5).encode(y=y),
        base.mark_line(color=LINE, strokeWidth=1.5).encode(detail="piece:N"),
        alt.Chart(rows[rows["share"] > 1.0])
        .mark_point(shape="diamond", size=60, fill=SIGNAL, stroke=EDGE, strokeWidth=1, opacity=1)
        .encode(x=x, y=y, tooltip=tooltip),
    ).properties(height=height, padding=PADDING)
