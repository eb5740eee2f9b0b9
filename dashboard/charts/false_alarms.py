"""False alarms of a press under several sets of charts, beside its budget. No Streamlit in here."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.characteristic import Layers
from dashboard.charts.palette import DOT, LINE

ROW = 34
SMALLEST = 0.01  # in 24 h; fewer are drawn there


def false_alarms(rows: pd.DataFrame, *, allowed: float) -> Layers:
    """Chart of false alarms in 24 h on a log scale: one dot a set of charts, a large one if proposed.

    Parameters
    ----------
    rows : DataFrame
        Columns name, per_day, words (beside the dot), proposed (whether it is what is proposed).
    allowed : float
        What the floor allows in 24 h.
    """
    rows = rows.assign(shown=rows["per_day"].clip(lower=SMALLEST))
    low, high = min(rows["shown"].min(), allowed) / 2.0, max(rows["shown"].max(), allowed) * 20.0
    x = alt.X(
        "shown:Q", scale=alt.Scale(type="log", domain=[low, high], nice=False),
        axis=alt.Axis(title="false alarms of the press in 24 h", format="~g", grid=False, tickCount=4),
    )  # fmt: skip
    y = alt.Y(
        "name:N",
        sort=None,
        axis=alt.Axis(title=None, labelLimit=420, labelFontSize=13, domain=False, ticks=False),
    )
    base = alt.Chart(rows).encode(x=x, y=y)
    budget = alt.Chart(pd.DataFrame({"shown": [allowed], "word": ["allowed"]})).encode(x=x)
    return alt.layer(
        budget.mark_rule(color=LINE, strokeWidth=1.5, strokeDash=[9, 5]),
        budget.mark_text(align="center", dy=-4, baseline="bottom", fontSize=13).encode(
            y=alt.value(0), text="word:N"
        ),
        base.mark_circle(color=DOT, opacity=1).encode(
            size=alt.condition("datum.proposed", alt.value(280), alt.value(110)),
            tooltip=[alt.Tooltip("name:N", title="charts"), alt.Tooltip("words:N", title="false alarms")],
        ),
        base.mark_text(align="right", fontSize=13).encode(x=alt.value("width"), text="words:N"),
    ).properties(height=ROW * len(rows) + 50)  # fmt: skip
