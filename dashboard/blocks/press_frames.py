"""From what the store holds to what a chart function takes: shop times, and words for the pointer. Pure."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pandas as pd

from collector.contract import quantities
from dashboard.blocks.event_words import KINDS, change_words
from dashboard.blocks.press_words import rule_words, shot_label
from dashboard.charts.characteristic import Bounds
from dashboard.charts.time_axis import shop_time, shop_times
from dashboard.queries.press import View


def bounds(view: View, zone: ZoneInfo) -> Bounds:
    """Both ends of the time axis."""
    return shop_time(view.since, zone), shop_time(view.until, zone)


def labeled_shots(view: View, zone: ZoneInfo) -> pd.DataFrame:
    """The shots with their shop time and their name."""
    frame = view.shots.assign(at=shop_times(view.shots["ended_at"], zone))
    names = [shot_label(row.counter, row.at) for row in frame[["counter", "at"]].itertuples()]
    return frame.assign(label=names)


def shots_of(frame: pd.DataFrame, view: View, key: str) -> pd.DataFrame:
    """One characteristic of the labeled shots, with the rules that its charts met."""
    mine = view.signals[view.signals["key"] == key]
    met: dict[int, str] = {}
    for row in mine.itertuples():
        words = rule_words(row.rule, row.chart)
        met[row.shot_id] = f"{met[row.shot_id]}; {words}" if row.shot_id in met else words
    columns = frame[["id", "at", "phase", "label", key]].rename(columns={key: "value"})
    return columns.assign(signal=[met.get(shot_id, "") for shot_id in columns["id"]])


def segments_of(view: View, key: str, zone: ZoneInfo) -> pd.DataFrame:
    """Limits of one characteristic, times in the shop's zone; of a timer, only where it was set to.

    The limits of a timer are half a digit of its display away from what was set: no line to look at.
    """
    rows = view.limits[view.limits["key"] == key]
    if (quantity := quantities.find(key)) is not None and quantity.timer:
        rows = rows.assign(lower=float("nan"), upper=float("nan"))
    return rows[["lower", "center", "upper", "standing"]].assign(
        at=shop_times(rows["at"], zone), until=shop_times(rows["until"], zone)
    )


def steps_of(view: View, key: str, zone: ZoneInfo) -> pd.DataFrame:
    """Steps of the setpoint of the same key, if there is one."""
    return stretches(view.setpoints[view.setpoints["key"] == key], zone)


def stretches(frame: pd.DataFrame, zone: ZoneInfo) -> pd.DataFrame:
    """A frame of stretches (at, until) in shop time."""
    return frame.assign(at=shop_times(frame["at"], zone), until=shop_times(frame["until"], zone))


def memory_of(memory: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """Shares of a cumulative chart, joined to the time and name of their shots."""
    return memory.merge(frame[["id", "at", "label"]], on="id", how="inner")


def happenings(view: View, zone: ZoneInfo) -> pd.DataFrame:
    """Events in words, kinds in a fixed order."""
    rows = view.events[view.events["kind"].isin(KINDS)]
    frame = pd.DataFrame(
        {
            "at": shop_times(rows["at"], zone),
            "kind": rows["kind"].map(KINDS),
            "words": [change_words(row) for row in rows.itertuples()],
        }
    )
    return frame.sort_values("kind", key=lambda kinds: kinds.map(list(KINDS.values()).index), kind="stable")
