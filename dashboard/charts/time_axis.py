"""One time axis for every chart, in the shop's own time whatever zone the browser is in."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import pandas as pd

# Room for the labels of the y axis, the same in every chart, so that equal times stand above each other.
Y_EXTENT = 78
# Streamlit's theme leaves a wide margin under a chart, which would tear a column of charts apart.
PADDING = {"left": 4, "right": 12, "top": 26, "bottom": 4}


def shop_times(times: pd.Series, zone: ZoneInfo) -> pd.Series:
    """Aware times as the shop's clock reads them, tagged UTC so that no browser shifts them again."""
    aware = pd.to_datetime(times, utc=True)
    return aware.dt.tz_convert(zone).dt.tz_localize(None).dt.tz_localize("UTC")


def shop_time(moment: datetime, zone: ZoneInfo) -> pd.Timestamp:
    """The same for one time."""
    return pd.Timestamp(moment.astimezone(zone).replace(tzinfo=None), tz="UTC")


def time_axis(start: pd.Timestamp, end: pd.Timestamp, *, labels: bool = True) -> alt.X:
    """The x encoding of column `at` from `start` to `end`; `labels` off where a chart below shows them."""
    one_day = end - start <= pd.Timedelta(hours=30)
    axis = alt.Axis(
        title=None,
        labels=labels,
        ticks=labels,
        domain=labels,
        format="%H:%M" if one_day else "%a %H:%M",
        tickCount=8,
        grid=False,
        labelOverlap=True,
    )
    domain = [str(start.isoformat()), str(end.isoformat())]
    return alt.X("at:T", axis=axis, scale=alt.Scale(type="utc", domain=domain, clamp=True))


def heading(words: str) -> dict[str, Any]:
    """Options of a y axis that put its title over the plot, level, as the heading of the chart."""
    return {
        "title": words,
        "titleAngle": 0,
        "titleAlign": "left",
        "titleBaseline": "bottom",
        "titleX": -Y_EXTENT,
        "titleY": -10,
        "titleFontSize": 15,
        "titleFontWeight": "bold",
        "titleLimit": 600,
        "minExtent": Y_EXTENT,
        "maxExtent": Y_EXTENT,
    }
