"""The run that is open on a press: what is known of it, and the forms that open, describe and close one."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from collector.actions.recipes import qualify
from collector.actions.runs import Told, close_run, open_run
from collector.contract import quantities
from collector.pipeline import engine_policy
from collector.store.database import read
from collector.store.recipes import Allowed, newest_version
from collector.store.runs import RunRow
from dashboard.blocks import signed_in
from dashboard.blocks.acting import carry_out
from dashboard.blocks.plain import sentence
from dashboard.blocks.run_now_words import closing_words, naming_words, now_words, opened_words, recipe_words
from dashboard.queries import database
from dashboard.queries.press_run import Now, read_now

SETPOINT, REPORTED, ALLOWED = "Setpoint", "Reported now", "Allowed, either way"
NO_RECIPE = "none"


def show(press: str, press_id: int) -> None:
    """One line about the run, with the forms beside it."""
    with read(database.engine()) as conn:
        now = read_now(conn, press_id, press)
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(sentence(now_words(now)), width="stretch")
        with st.popover("Run", icon=":material/assignment:"):
            _run_form(press, now)
            _close_form(press, now)
        with st.popover("Recipe", icon=":material/fact_check:"):
            _recipe_form(now)


def _run_form(press: str, now: Now) -> None:
    if not signed_in.may("run opened", "Open or describe a run"):
        return
    run = now.run
    if naming := naming_words(now):
        st.caption(sentence(naming))
    with st.form("press_run_open", border=False):
        name = st.text_input(
            "Run", value="" if run is None else run.name, key=f"press_run_name_{press}", max_chars=100,
            help="Another name opens another run; the same name says more of this one.",
        )
        left, right = st.columns(2)
        with left:
            mold = _asked("Mold", run.mold if run else None, press)
            lot = _asked("Lot", now.lot, press)
        with right:
            blend = _asked("Blend", run.blend if run else None, press)
            color = _asked("Color", run.color if run else None, press)
        known = {recipe_words(row): (row.name, row.version) for row in now.recipes}
        offered = [NO_RECIPE, *known]
        recipe = st.selectbox("Recipe", offered, index=_place(run, known), key=f"press_run_recipe_{press}")
        trial = st.checkbox(
            "Trial", value=run is not None and run.trial, key=f"press_run_trial_{press}",
            help="Made to learn what settings do: its shots are stored and shown, but no chart judges them. "
            "A trial stays one; production goes on in another run.",
        )
        who = signed_in.who("press_run_who")
        if st.form_submit_button("Open or describe this run", type="primary", key="press_run_button"):
            chosen = known.get(recipe, (None, None))
            told = Told(
                mold=mold, blend=blend, lot=lot, color=color, recipe=chosen[0], recipe_version=chosen[1],
                trial=trial,
            )
            carry_out(
                opened_words(name.strip(), press, lot, now), open_run, press=press, name=name, told=told,
                site=database.settings().site, policy=engine_policy(database.settings()), who=who,
            )


def _place(run: RunRow | None, known: dict[str, tuple[str, int]]) -> int:
    """Where the run's own recipe stands in the list that begins with none."""
    own = None if run is None else (run.recipe, run.recipe_version)
    return next((place for place, each in enumerate(known.values(), 1) if each == own), 0)


def _close_form(press: str, now: Now) -> None:
    if now.run is None or not signed_in.may("run closed", "Close this run"):
        return
    with st.form("press_run_close", border=False):
        st.markdown(sentence(closing_words(now)))
        who = signed_in.who("press_run_close_who")
        if st.form_submit_button("Close this run", key="press_run_close_button"):
            carry_out(
                f"Run {now.run.name} of {press} is closed.", close_run, press=press,
                site=database.settings().site, policy=engine_policy(database.settings()), who=who,
            )


def _recipe_form(now: Now) -> None:
    if not now.setpoints:
        st.write("This press has reported no setpoint yet, so there is nothing to qualify.")
        return
    if not signed_in.may("qualify recipe", "Qualify a recipe"):
        return
    run = now.run
    with st.form("press_recipe", border=False):
        st.write("Fill in by how much each setpoint may differ. Those without are not held against anything.")
        keys = sorted(now.setpoints, key=quantities.label)
        table = st.data_editor(
            _reported(now, keys), key="press_recipe_table", hide_index=True,
            disabled=[SETPOINT, REPORTED],
            column_config={ALLOWED: st.column_config.NumberColumn(min_value=0.0, width="small")},
        )
        name = st.text_input("Recipe", value=_suggested(now), key="press_recipe_name", max_chars=100)
        why = st.text_input("Reason", key="press_recipe_why")
        who = signed_in.who("press_recipe_who")
        if st.form_submit_button("Qualify as a new version", type="primary", key="press_recipe_button"):
            with read(database.engine()) as conn:
                version = newest_version(conn, name.strip()) + 1
            carry_out(
                f"Recipe {name.strip()} version {version} is qualified; give it to a run to hold shots "
                "against it.",
                qualify, name=name.strip(), version=version, mold=run.mold if run else None,
                blend=run.blend if run else None, setpoints=_allowed(now, keys, table), who=who, why=why,
            )


def _reported(now: Now, keys: list[str]) -> pd.DataFrame:
    return pd.DataFrame({
        SETPOINT: [quantities.label(key) for key in keys],
        REPORTED: [quantities.format_value(key, now.setpoints[key]) for key in keys],
        ALLOWED: pd.Series([None] * len(keys), dtype="float64"),
    })  # fmt: skip


def _allowed(now: Now, keys: list[str], table: pd.DataFrame) -> Allowed:
    return {
        key: {"setpoint": now.setpoints[key], "allowed": float(allowed)}
        for key, allowed in zip(keys, table[ALLOWED], strict=True)
        if pd.notna(allowed)
    }


def _suggested(now: Now) -> str:
    run = now.run
    if run is None:
        return ""
    return run.recipe or " ".join(part for part in (run.mold, run.blend) if part)


def _asked(label: str, known: str | None, press: str) -> str | None:
    text = st.text_input(label, value=known or "", key=f"press_run_{label.lower()}_{press}", max_chars=100)
    return text.strip() or None
