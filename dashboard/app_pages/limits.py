"""Limits: study a run, see what limits from it would cost and find, approve them; which are in force."""

import streamlit as st

from collector.actions.limits_steady import Steady, read_steady
from collector.actions.limits_study import Proposed, propose_key
from collector.errors import NotAllowed
from collector.pipeline import engine_policy
from collector.store import limits as limits_store
from collector.store.database import read
from dashboard.blocks import (
    acting,
    limits_approve,
    limits_budget,
    limits_row,
    limits_trial,
    limits_versions,
    limits_words,
)
from dashboard.blocks.alarm_words import SIGNAL
from dashboard.blocks.plain import sentence
from dashboard.blocks.press_charts import run_name
from dashboard.queries import database, limits, press
from dashboard.queries.limits import Tried

PINS = "limits_studied_until"
CHOSEN = "limits_chosen_run"
LAST = (100, 200, 500)
settings = database.settings()


@st.cache_data(max_entries=8, show_spinner="Reading the steady shots")
def steady_shots(run_id: int, until_shot_id: int) -> Steady:
    """The shots of a study, up to the newest there was when it was made."""
    with read(database.engine()) as conn:
        return read_steady(conn, run_id, engine_policy(settings), until_shot_id=until_shot_id)


@st.cache_data(max_entries=300, show_spinner="Studying the run")
def studied(run_id: int, until_shot_id: int, key: str, left_out: tuple[int, ...]) -> Proposed:
    """The proposal for one characteristic; made once for the same shots."""
    return propose_key(steady_shots(run_id, until_shot_id), key, left_out=left_out)


@st.cache_data(max_entries=8, show_spinner="Reading later runs")
def later_shots(run_id: int, until_shot_id: int) -> list[Tried]:
    """What came after the run, as far as the same study looks."""
    with read(database.engine()) as conn:
        return limits.later_runs(conn, steady_shots(run_id, until_shot_id), until_shot_id)


with read(database.engine()) as conn:
    names = press.press_names(conn, settings.site)

st.title("Limits")
acting.say()
if not names:
    st.write("No press has reported yet. Limits are studied from its shots.")
    st.stop()

with st.container(horizontal=True, vertical_alignment="bottom"):
    name = st.selectbox("Press", sorted(names), key="press", bind="query-params", width=160)
    with read(database.engine()) as conn:
        runs = {run.id: run for run in limits.runs_to_study(conn, names[name])}
        newest = limits.newest_shot(conn, names[name])
        units = press.newest_units(conn, names[name])
        versions = limits.versions(conn, names[name])
        run_names = limits.run_names(conn, names[name])
        counters = limits.shot_counters(conn, limits_versions.left_out_ids(versions))
    if runs:
        # Kept beside the widget: a list that grew meanwhile must not put another run in its place.
        chosen: dict[str, int] = st.session_state.setdefault(CHOSEN, {})
        if chosen.get(name) not in runs:
            chosen[name] = list(runs)[limits.soundest(list(runs.values()))]
        run_id = st.selectbox(
            "Run to study", list(runs), index=list(runs).index(chosen[name]),
            key=f"limits_run_{name}", width=420,
            format_func=lambda each: f"{run_name(runs[each])} · {runs[each].steady:,} steady shots",
        )  # fmt: skip
        chosen[name] = run_id
        last = st.segmented_control(
            "Try on its last",
            LAST,
            default=LAST[1],
            required=True,
            key="limits_last",
            format_func=lambda shots: f"{shots} shots",
        )

if not runs:
    st.write("No run of this press has 25 steady shots yet; let it run on first.")
    limits_versions.show(versions, run_names, counters)
    st.stop()

# A study stays what it was until a person asks for a new one, however many shots come meanwhile.
pins: dict[int, int] = st.session_state.setdefault(PINS, {})
until = pins.setdefault(run_id, newest)
try:
    steady = steady_shots(run_id, until)
except NotAllowed as error:
    st.write(f"{error}.".capitalize())
    st.stop()

with st.container(horizontal=True, vertical_alignment="center"):
    ended = database.local(steady.frame["ended_at"].max().to_pydatetime())
    st.markdown(
        f"Studied: {len(steady.frame):,} steady shots of run {sentence(runs[run_id].name)}, the last of "
        f"{ended:%a %d %b %H:%M}. Nothing is studied anew or put in force by itself.",
        width="content",
    )
    if newest > until and st.button("Take in newer shots", icon=":material/refresh:", key="limits_anew"):
        pins[run_id] = newest
        st.rerun()
with read(database.engine()) as conn:
    began = limits.alarms_of(conn, run_id)
if began:
    plural = "" if began == 1 else "s"
    st.markdown(
        f":yellow-background[{SIGNAL}] {began} alarm{plural} began in this run, and its shots are in the "
        "study: is it a sound run?"
    )

proposals = [studied(run_id, until, key, limits_row.left_out(run_id, key)) for key in steady.keys]
proposals.sort(key=lambda each: (each.study is None, not each.to_confirm))
limits_budget.show(proposals, steady, settings.charts.false_alarms_per_day)

st.subheader("Characteristics", anchor=False)
st.caption(limits_words.STANDINGS)
current = limits.in_force(versions, steady)
tried = [Tried(run=runs[run_id].name, later=False, frame=steady.frame), *later_shots(run_id, until)]
confirmed = {}
for each in proposals:
    outcomes = limits_trial.try_on(limits_row.as_entered(each, steady), tried, last=last)
    agreed = limits_row.show(each, steady, outcomes, unit=units.get(each.key), now=current.get(each.key))
    if agreed is not None:
        confirmed[each.key] = agreed

with read(database.engine()) as conn:
    approved = limits_store.approved(conn, steady.press_id, steady.context)
limits_approve.show(proposals, steady, confirmed, run=runs[run_id].name, approved=approved)
limits_versions.show(versions, run_names, counters)
