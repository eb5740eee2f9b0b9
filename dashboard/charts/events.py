"""What happened besides shots, one row a kind, on the same time axis. No Streamlit in here."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.characteristic import Bounds, Layers
from dashboard.charts.palette import LINE
from dashboard.charts.time_axis import PADDING, Y_EXTENT, time_axis

ROW = 26
# A label's width on the narrowest screen; wider screens leave more room.
NARROWEST_PX, LETTER_PX, MARK_PX = 690, 6.5, 24
LONGEST = 44  # letters


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
    return alt.layer(
        base.mark_point(shape="triangle-right", filled=True, color=LINE, size=70, opacity=1),
        alt.Chart(labels(happened, bounds=bounds))
        .mark_text(align="left", dx=9, fontSize=12, limit=320)
        .encode(x=x, y=y, text="words:N"),
    ).properties(height=ROW * max(len(kinds), 1) + 12, padding=PADDING | {"top": 8})


def labels(happened: pd.DataFrame, *, bounds: Bounds) -> pd.DataFrame:
    """The words that fit beside their marks without running into one another.

    An event that would stand in the label of the one before joins it; where that grows too long, its words
    are in the tooltip only.

    Returns
    -------
    DataFrame
        Columns at, kind and words, a row a label.
    """
    span = (bounds[1] - bounds[0]) / NARROWEST_PX
    shown: list[dict[str, Any]] = []
    for _, row in happened.sort_values(["kind", "at"], kind="stable").iterrows():
        last = shown[-1] if shown and shown[-1]["kind"] == row["kind"] else None
        if last is None or row["at"] > last["at"] + span * (len(last["words"]) * LETTER_PX + MARK_PX):
            shown.append({"at": row["at"], "kind": row["kind"], "words": row["words"]})
        elif row["words"] and len(joined := f"{last['words']}, {row['words']}".removeprefix(", ")) <= LONGEST:
            last["words"] = joined
    return pd.DataFrame(shown, columns=["at", "kind", "words"])
