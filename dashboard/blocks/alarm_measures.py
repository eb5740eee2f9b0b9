"""How much the alarms ask of people, beside the figures of the standard."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from collector.alarms.figures import Figure, figures, period_words
from collector.alarms.measures import Measures
from collector.contract.figures import percent
from dashboard.blocks.plain import sentence
from dashboard.queries import alarm_measures, database

_STANDS = {"inside": "met", "outside": ":yellow-background[◆ not met]", "not judged": ""}


def show() -> None:
    """The table of measures, the most frequent alarms, and what chatters or is stale."""
    found = alarm_measures.measures()
    st.subheader("How much the alarms ask of people")
    if not found.days:
        st.write("No shot is stored yet, so there is nothing to measure.")
        return
    st.write(f"{period_words(found)} Figures of IEC 62682 and ANSI/ISA-18.2.")
    rows = [_row(each) for each in figures(found)]
    st.table(pd.DataFrame(rows), border="horizontal", hide_index=True, alt="Measures of the alarms")
    _frequent(found)
    for words in _odd(found):
        st.write(sentence(words))


def _row(figure: Figure) -> dict[str, str]:
    cells = {"Measure": figure.measure, "Here": figure.value, "The standard": figure.standard}
    return {name: sentence(cell) for name, cell in cells.items()} | {"": _STANDS[figure.stands]}


def _frequent(found: Measures) -> None:
    if not found.top:
        return
    st.markdown("**Most frequent**")
    rows = [
        {"Alarm": sentence(each.about), "Times": f"{each.calls:,}", "Share": percent(each.share)}
        for each in found.top
    ]
    st.table(pd.DataFrame(rows), border="horizontal", hide_index=True, alt="Most frequent alarms")


def _odd(found: Measures) -> list[str]:
    words = []
    if found.chattering:
        words.append(f"Came three times within twenty cycles: {', '.join(found.chattering)}.")
    if found.stale:
        words.append(f"Active for more than a day: {', '.join(found.stale)}.")
    for flood in found.floods[-3:]:
        began, ended = database.local(flood.began), database.local(flood.ended)
        words.append(f"Flood: {flood.calls} alarms from {began:%a %d %b %H:%M} to {ended:%H:%M}.")
    return words
