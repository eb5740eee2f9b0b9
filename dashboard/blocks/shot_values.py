"""Everything one shot measured, in a window over the page."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from collector.alarms import normal
from collector.contract import quantities
from collector.contract.unit_names import symbol
from collector.store.database import read
from dashboard.blocks.lane_words import blend_words
from dashboard.blocks.plain import sentence
from dashboard.blocks.press_words import rule_words
from dashboard.queries import database
from dashboard.queries.press import read_shot, shot_signals

PHASES = {
    "startup": "startup shot, not charted",
    "baseline": "gathered for limits, not judged yet",
    "charted": "charted",
    "trial": "trial, not charted",
}


def show(shot_id: int) -> None:
    """Open the window of one shot."""
    with read(database.engine()) as conn:
        shot = read_shot(conn, shot_id)
        met = shot_signals(conn, shot_id)
        quiet = normal.sentence(conn, shot_id)
    if shot is None:
        return
    title = f"{shot.press}, shot {shot.counter:,}" if shot.counter is not None else f"{shot.press}, one shot"
    st.dialog(title, width="large")(_body)(shot, met, quiet)


def _body(shot: Any, met: Any, quiet: str | None) -> None:
    at = database.local(shot.ended_at)
    place = [
        f"{at:%a %d %b %Y %H:%M:%S}",
        f"run {shot.run}" if shot.run else "no run",
        shot.mold,
        blend_words(shot.blend),
    ]
    if shot.tray:
        place.append(f"tray {shot.tray}" + (f", place {shot.tray_position}" if shot.tray_position else ""))
    place.append(PHASES[shot.phase])
    st.write(sentence(" · ".join(part for part in place if part)))
    if shot.time_reconstructed:
        st.write("Its time was computed from a start and an interval, not read.")
    for signal in met:
        st.write(f"◆ {quantities.label(signal.key)}: {rule_words(signal.rule, signal.chart)}")
    if quiet is not None:
        st.write(quiet)
    st.dataframe(
        value_table(shot),
        hide_index=True,
        height="content",
        column_config={
            name: st.column_config.TextColumn(alignment="right") for name in ("Value", "Setpoint", "As sent")
        },
        alt="All values of the shot",
    )
    if shot.not_written:
        names = ", ".join(quantities.label(key) for key in shot.not_written)
        st.caption(f"Named by the source but not written: {names}.")


def value_table(shot: Any) -> pd.DataFrame:
    """Values, setpoints and what was sent, one row a quantity. Pure."""
    setpoints, sent = shot.setpoints or {}, shot.originals or {}
    keys = [*shot.characteristics, *(key for key in setpoints if key not in shot.characteristics)]
    rows = [
        {
            "Quantity": quantities.label(key),
            "Value": _written(key, shot.characteristics.get(key), sent),
            "Setpoint": _written(key, setpoints.get(key), shot.setpoint_originals or {}),
            "As sent": _sent(sent.get(key)),
        }
        for key in keys
    ]
    frame = pd.DataFrame(rows, columns=["Quantity", "Value", "Setpoint", "As sent"])
    return frame.loc[
        :, [name for name in frame if name in ("Quantity", "Value") or (frame[name] != "").any()]
    ]


def _written(key: str, value: float | None, sent: dict[str, Any]) -> str:
    unit = sent[key][1] if key in sent and quantities.find(key) is None else None
    return "" if value is None else quantities.format_value(key, value, unit)


def _sent(original: Any) -> str:
    return "" if not original else f"{original[0]:g} {symbol(original[1])}"
