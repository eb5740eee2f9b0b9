"""What happened besides shots, one row a kind, on the same time axis. No Streamlit in here."""

from __future__ import annotations

from dataclasses import dataclass
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
        *_texts(labels(happened, bounds=bounds), x, y),
    ).properties(height=ROW * max(len(kinds), 1) + 12, padding=PADDING | {"top": 8})


def _texts(shown: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """Labels right and left of their marks; clipped, as text beyond the plot would make the plot narrower."""
    beside: dict[str, dict[str, Any]] = {
        "right": {"align": "left", "dx": 9}, "left": {"align": "right", "dx": -9},
    }  # fmt: skip
    return [
        alt.Chart(shown[shown["side"] == side])
        .mark_text(**mark, fontSize=12, limit=320, clip=True)
        .encode(x=x, y=y, text="words:N")
        for side, mark in beside.items()
    ]


def labels(happened: pd.DataFrame, *, bounds: Bounds) -> pd.DataFrame:
    """The words that fit beside their marks without running into one another or out of the plot.

    An event that would stand in the label of the one before joins it, and the label moves beside its mark;
    where the words grow too long, they say how many more there are and the rest is in the tooltips. Near the
    end of the axis the label stands left of its first mark, if there is room.

    Returns
    -------
    DataFrame
        Columns at, kind, words and side ("right" or "left" of the mark), a row a label.
    """
    span = (bounds[1] - bounds[0]) / NARROWEST_PX
    groups: list[_Group] = []
    for row in happened.sort_values(["kind", "at"], kind="stable").itertuples():
        last = groups[-1] if groups else None
        if last is None or last.kind != row.kind or row.at > last.end + span * last.width:
            groups.append(_Group(row.kind, row.at, row.at, row.words))
        else:
            last.take(row.at, row.words)
    rows = []
    for before, group in zip([None, *groups], groups, strict=False):
        taken = before.end + span * before.width if before and before.kind == group.kind else bounds[0]
        turned = group.end + span * group.width > bounds[1] and group.start - span * group.width >= taken
        rows.append({
            "at": group.start if turned else group.end, "kind": group.kind, "words": group.text,
            "side": "left" if turned else "right",
        })  # fmt: skip
    return pd.DataFrame(rows, columns=["at", "kind", "words", "side"])


@dataclass(slots=True)
class _Group:
    """Events whose marks stand so close that one label speaks for all."""

    kind: str
    start: pd.Timestamp
    end: pd.Timestamp
    words: str
    more: int = 0

    def take(self, at: pd.Timestamp, words: str) -> None:
        """One more event."""
        self.end = at
        joined = ", ".join(filter(None, (self.words, words)))
        if len(joined) <= LONGEST:
            self.words = joined
        elif words:
            self.more += 1

    @property
    def text(self) -> str:
        """What the label says."""
        return f"{self.words}, {self.more} more" if self.more else self.words

    @property
    def width(self) -> float:
        """Of the label with the mark in front of it, pixels."""
        return len(self.text) * LETTER_PX + MARK_PX
