"""What happened besides shots, one row a kind, on the same time axis. No Streamlit in here."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.characteristic import Bounds, Layers
from dashboard.charts.palette import LINE
from dashboard.charts.time_axis import PADDING, Y_EXTENT, time_axis

ROW = 26


def events(happened: pd.DataFrame, *, bounds: Bounds) -> Layers:
    """Chart of events.

    Parameters
    ----------
    happened : DataFrame
        Columns at (shop time), kind (as people call it), words (what changed).
    bounds : tuple of Timestamp
        Start and end of the time axis.
    """
    kinds = list(dict.fromkeys(happened["kind"]))
    axis = alt.Axis(
        title=None, minExtent=Y_EXTENT, maxExtent=Y_EXTENT, ticks=False, grid=True, gridOpacity=0.35
    )
    y = alt.Y("kind:N", sort=kinds, axis=axis)
    x = time_axis(*bounds, labels=False)
    tooltip = [alt.Tooltip("kind:N", title="event"), alt.Tooltip("words:N", title="what")]
    base = alt.Chart(happened).encode(x=x, y=y, tooltip=tooltip)
    crowded = happened.groupby("kind")["at"].transform("size") > 6
    return alt.layer(
        base.mark_point(shape="triangle-right", filled=True, color=LINE, size=70, opacity=1),
        alt.Chart(happened[~crowded])
        .mark_text(align="left", dx=9, fontSize=12, limit=320)
        .encode(x=x, y=y, text="words:N"),
    ).properties(height=ROW * max(len(kinds), 1) + 12, padding=PADDING | {"top": 8})
