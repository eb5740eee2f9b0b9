"""The charts of the press page, and the cached read behind them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from collector.contract import quantities
from collector.store.database import read
from dashboard.blocks import press_frames as frames
from dashboard.charts.characteristic import HEIGHT, SELECTION, Layers, characteristic
from dashboard.charts.cumulative import cumulative
from dashboard.charts.events import events
from dashboard.queries import database
from dashboard.queries.chart_memory import memories
from dashboard.queries.press import View, read_view

FRESH_S = 5.0
Memories = dict[str, pd.DataFrame]


def load(press_id: int, keys: Sequence[str], since: datetime, until: datetime) -> tuple[View, Memories]:
    """Read a view. The newest second is not worth a new read, so ends are cut to whole periods."""
    return _load(press_id, tuple(keys), since, until)


@st.cache_data(ttl=FRESH_S, max_entries=20, show_spinner="Reading the shots")
def _load(press_id: int, keys: tuple[str, ...], since: datetime, until: datetime) -> tuple[View, Memories]:
    with read(database.engine()) as conn:
        view = read_view(conn, press_id, keys=keys, since=since, until=until)
        return view, memories(conn, press_id, view)


def present(view: View) -> list[str]:
    """Keys that any shot of the view has a value for: those with a signal first, timers last."""
    signaled = set(view.signals["key"])

    def rank(key: str) -> int:
        return 0 if key in signaled else 2 if timers([key]) else 1

    return sorted((key for key in view.keys if view.shots[key].notna().any()), key=rank)


def timers(keys: Sequence[str]) -> list[str]:
    """Those of the keys that a timer of the press sets."""
    known = ((key, quantities.find(key)) for key in keys)
    return [key for key, quantity in known if quantity is not None and quantity.timer]


def run_name(run: Any) -> str:
    """Name of a run in a list."""
    opened = database.local(run.opened_at)
    return f"{run.name} · {run.mold or 'mold not known'} · {opened:%a %d %b %H:%M}"


def stretch(since: datetime, until: datetime, zone: ZoneInfo) -> str:
    """From when to when, in the shop's time."""
    here, there = since.astimezone(zone), until.astimezone(zone)
    return f"{here:%a %d %b %H:%M} to {there:%a %d %b %H:%M}"


def themed(chart: Layers) -> Layers:
    """Words of a chart in the ink of the page, light or dark; Streamlit's own gray is too faint to read."""
    ink, muted = ("#eef1f4", "#a7aeb8") if st.context.theme.type == "dark" else ("#1b1e23", "#5a6068")
    inked: Layers = chart.configure_axis(titleColor=ink, labelColor=muted).configure_text(color=muted)
    return inked


def events_row(view: View, zone: ZoneInfo) -> None:
    """What happened besides shots."""
    happened = frames.happenings(view, zone)
    if happened.empty:
        st.caption("No event in this time: no setpoint, lot or stop.")
        return
    chart = events(happened, bounds=frames.bounds(view, zone))
    st.altair_chart(themed(chart), key="press_events", alt="Events on the time axis of the charts below")


def characteristic_row(
    view: View, memory: Memories, key: str, zone: ZoneInfo, *, unit: str | None = None
) -> None:
    """One characteristic, and what its cumulative chart remembers."""
    bounds = frames.bounds(view, zone)
    shots = frames.labeled_shots(view, zone)
    widget = f"press_chart_{key}"
    remembered = key in memory and not memory[key].empty
    chart = characteristic(
        frames.shots_of(shots, view, key),
        key=key,
        unit=unit,
        bounds=bounds,
        limits=frames.segments_of(view, key, zone),
        setpoints=frames.steps_of(view, key, zone),
        holds=frames.stretches(view.holds, zone),
        time_labels=not remembered,
        height=HEIGHT if not remembered else HEIGHT - 20,
    )
    st.altair_chart(
        themed(chart),
        key=widget,
        on_select=_remember(widget),
        alt=f"{quantities.label(key)} of every shot with limits",
    )
    if remembered:
        shares = frames.memory_of(memory[key], shots)
        st.altair_chart(
            themed(cumulative(shares, bounds=bounds)),
            key=f"press_memory_{key}",
            alt=f"Cumulative statistic of {quantities.label(key)} as a share of its limit",
        )


def _remember(widget: str) -> Callable[[], None]:
    """A callback that keeps the shot that was clicked, for the window over the page."""

    def keep() -> None:
        picked = st.session_state[widget]["selection"].get(SELECTION) or []
        if picked:
            st.session_state["press_shot"] = int(picked[0]["id"])

    return keep
