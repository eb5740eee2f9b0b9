"""One alarm on the alarms page: what moved, since when, what it is often seen with, what happened so far."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.blocks.alarm_words import (
    ACT,
    SIGNAL,
    beside_words,
    event_row,
    gauged_row,
    moved_row,
    shape,
    shelf_words,
    since_words,
    state_words,
    step_row,
)
from dashboard.blocks.plain import badge, sentence
from dashboard.blocks.provisional_words import rests_words
from dashboard.queries.alarm_detail import Detail
from dashboard.queries.database import local, settings

SILENCE_CHECKS = """1. The press: does it run, and does its own screen say why not?
2. Its gateway: power, network cable, its own lamp.
3. The broker and the machine that collects: the Service page says what they know of themselves.

A press that is meant to stand should say so (its state), or its run should be closed; for a longer time take
it out of service under Kept quiet."""


def head(found: Detail) -> None:
    """What moved, on which press, and where the alarm stands."""
    alarm = found.alarm
    st.subheader(sentence(f"{found.press}: {alarm.headline}"))
    color = {SIGNAL: "yellow", ACT: "blue"}.get(shape(alarm), "gray")
    with st.container(horizontal=True):
        stands = badge(state_words(alarm))
        st.badge(f"{shape(alarm)} {stands}".strip(), color=color)  # type: ignore[arg-type]
        for words in (found.mold, found.run and f"run {found.run}", f"alarm {alarm.id}"):
            if words:
                st.badge(badge(words), color="gray")
    if alarm.kind == "silence":
        st.write(f"Since {local(alarm.opened_at):%a %H:%M}.")
    else:
        st.write(since_words(found, local))
    if beside := beside_words(found):
        st.write(sentence(beside))
    if found.provisional:
        st.write(sentence(rests_words(found.provisional, settings().charts.false_alarms_per_day)))
    if found.shelf is not None:
        st.write(sentence(shelf_words(found.shelf, local)))


def moved(found: Detail) -> None:
    """Every characteristic of the alarm, before and now."""
    if found.alarm.kind == "silence":
        return
    if found.alarm.kind == "gauging":
        _table("What was gauged", [gauged_row(item) for item in found.moved], "Nothing is written down.")
        return
    _table("What moved", [moved_row(item) for item in found.moved], "Nothing is written down.")


def before(found: Detail) -> None:
    """What else happened on the press in the half hour before."""
    if found.alarm.kind == "silence":
        return
    rows = [event_row(event, local) for event in found.events]
    _table("Events in the half hour before", rows, "No setpoint, lot, stop or state change.")


FOUND_OUT = ("data", "gauging")  # what is wrong is plain, and only where it comes from is asked


def causes(found: Detail) -> None:
    """Causes that this pattern is often seen with, each with its checks and cautions."""
    if found.alarm.kind == "silence":
        st.markdown("**Where to look, in this order**\n\n" + SILENCE_CHECKS)
        return
    st.markdown("**Often seen with**" if found.alarm.kind not in FOUND_OUT else "**Where to look first**")
    entries = found.alarm.causes or []
    if not entries:
        st.write("No cause in the fault table fits; start with the data, then with what was changed.")
    if found.alarm.kind not in FOUND_OUT:
        st.write("First of all: are the values right, and did anyone change anything?")
        st.write("A pattern proves no cause.")
    for number, entry in enumerate(entries):
        with st.expander(sentence(entry["cause"]), expanded=number == 0):
            _cause(entry)


def steps(found: Detail) -> None:
    """What people and the service did about it."""
    _table("Steps so far", [step_row(step, local) for step in found.steps], "None.")


def _cause(entry: Mapping[str, Any]) -> None:
    if reason := entry.get("reason"):
        st.write(reason)
    if like := entry.get("like"):
        names = "; ".join(name[:1].lower() + name[1:] for name in like)
        st.write(f"The values cannot tell it from: {names}. The first checks do.")
    for who, key in (("Operator", "checks"), ("Technician", "technician_checks")):
        checks = entry.get(key) or []
        if checks:
            st.markdown(f"{who}:\n\n" + "\n".join(f"{n}. {check}" for n, check in enumerate(checks, start=1)))
    cautions = entry.get("cautions") or []
    if cautions:
        st.markdown(
            ":material/health_and_safety: Caution:\n\n" + "\n".join(f"- {words}" for words in cautions)
        )


def _table(title: str, rows: list[dict[str, str]], otherwise: str) -> None:
    st.markdown(f"**{title}**")
    if not rows:
        st.write(otherwise)
        return
    shown = [{name: sentence(cell) for name, cell in row.items()} for row in rows]
    st.table(pd.DataFrame(shown), border="horizontal", hide_index=True, alt=title)
