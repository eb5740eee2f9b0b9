"""Limits of a press: study a run, and let a person approve what it says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from collector.actions.limits import approve_from_run
from collector.errors import NotAllowed
from collector.pipeline import engine_policy
from collector.settings import Settings
from collector.store.database import read
from dashboard.blocks import acting, press_charts
from dashboard.queries import database, limits

INTRODUCTION = (
    "Limits begin as provisional ones, from the first 25 steady shots of a run. A study of a longer, sound "
    "run makes better ones: usable from what 100 independent shots tell, firm from 300. They hold from the "
    "next shot on for this mold, blend, color and recipe, and never move by themselves."
)


def show(runs: Mapping[int, Any], settings: Settings) -> None:
    """The study of one of these runs (id to row, newest first), with a form to approve it."""
    if not runs:
        return
    with st.expander("Limits: study a run and approve", icon=":material/rule:", key="limits_study"):
        st.write(INTRODUCTION)
        run_id = st.selectbox(
            "Run to study", list(runs), key="study_run", width=320,
            format_func=lambda each: press_charts.run_name(runs[each]),
        )
        if st.toggle("Show the study", key="study_shown"):
            _study(run_id, settings)


def _study(run_id: int, settings: Settings) -> None:
    try:
        with read(database.engine()) as conn:
            found = limits.proposals(conn, run_id, settings)
            began = limits.alarms_of(conn, run_id)
    except NotAllowed as error:
        st.write(f"{error}.".capitalize())
        return
    st.table(limits.table(found))
    if began:
        plural = "" if began == 1 else "s"
        st.write(f"◆ {began} alarm{plural} began in this run. Its shots are in the study: is it a sound run?")
    with st.form("approve_limits", border=True):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            who = st.selectbox("Who", settings.people, key="approve_who", width=200)
            why = st.text_input("Why this run", key="approve_why", placeholder="no fault found")
        if st.form_submit_button("Approve these limits", type="primary"):
            _approve(run_id, who, why, settings)


def _approve(run_id: int, who: str, why: str, settings: Settings) -> None:
    if not why.strip():
        acting.refuse("say in a few words why this run is a sound baseline")
        st.rerun()
    acting.carry_out(
        f"Limits approved by {who}; they hold from the next shot on.",
        approve_from_run,
        run_id,
        policy=engine_policy(settings),
        who=who,
        why=why.strip(),
    )
