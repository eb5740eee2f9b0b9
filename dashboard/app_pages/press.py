"""One press: every charted characteristic with limits, setpoints, events, signals and holds on one axis."""

from datetime import datetime, timedelta
from urllib.parse import quote

import streamlit as st

from collector.contract import quantities
from collector.store.database import read
from dashboard.blocks import acting, first_shot, press_charts, provisional_words, run_now, shot_values
from dashboard.blocks.press_words import cost_words, legend
from dashboard.queries import alarms, database, press

NEWEST = "Last 2 h"
SPANS = {NEWEST: timedelta(hours=2), "Last shift (8 h)": timedelta(hours=8)}
ONE_RUN = "One run"
FIRST_SPAN, FIRST_PRESS = "press_first_span", "press_first_press"

settings, zone = database.settings(), database.zone()
now = database.clock().now()

with read(database.engine()) as conn:
    names = press.press_names(conn, settings.site)
    # Asked once, so that a later alarm elsewhere does not take the page away from its reader.
    if FIRST_PRESS not in st.session_state:
        st.session_state[FIRST_PRESS] = alarms.first_press(conn)
    opened_on = st.session_state[FIRST_PRESS]

st.title("Press")
acting.say()
if not names:
    st.write("No press has reported yet. It appears here with its first shot.")
    st.stop()

with st.container(horizontal=True, vertical_alignment="bottom"):
    listed = sorted(names)
    name = st.selectbox(
        "Press",
        listed,
        index=listed.index(opened_on) if opened_on in listed else 0,
        key="press",
        bind="query-params",
        width=160,
    )
    with read(database.engine()) as conn:
        runs = {run.id: run for run in press.run_rows(conn, names[name])}
        # A press that stands would open on an empty page; kept, so that a later choice is not undone.
        if FIRST_SPAN not in st.session_state:
            fresh = press.has_shot_since(conn, names[name], now - SPANS[NEWEST])
            st.session_state[FIRST_SPAN] = NEWEST if fresh or not runs else ONE_RUN
        charted = press.charted_keys(conn, names[name])
        units = press.newest_units(conn, names[name])
    span = st.segmented_control(
        "Time", [*SPANS, ONE_RUN], default=st.session_state[FIRST_SPAN], required=True, key="press_span"
    )
    run = None
    if span == ONE_RUN and runs:
        run_id = st.selectbox(
            "Run",
            list(runs),
            key="press_run",
            width=260,
            format_func=lambda each: press_charts.run_name(runs[each]),
        )
        run = runs[run_id]
    # A timer has its limits from the first steady shot; the others, which take longer, are shown before too.
    waiting = [key for key in settings.charts.vital if key in units and key not in charted]
    others = [key for key in units if key not in charted and key not in waiting]
    also = st.multiselect(
        "Also show",
        others,
        default=press_charts.timers(others),
        format_func=quantities.label,
        placeholder="Not charted",
        key=f"press_also_{name}",
        width=300,
    )
    st.button("Show newest", icon=":material/refresh:", key="press_newest")

first_shot.show(names[name])
run_now.show(name, names[name])
since: datetime = run.opened_at if run is not None else now - SPANS.get(span, timedelta(hours=2))
until: datetime = (run.closed_at or now) if run is not None else now
if waiting or not charted:
    of_what = f" for {', '.join(quantities.label(key).lower() for key in waiting)}" if charted else ""
    st.write(f"No limits yet{of_what}: they stand after the first steady shots of a run.")
shown = [*charted, *waiting, *also]
view, memories = press_charts.load(names[name], list(dict.fromkeys(shown)), since, until)

provisional = bool((view.limits["standing"] == "provisional").any())
st.write(
    f"{press_charts.stretch(since, until, zone)} · {len(view.shots):,} shots · "
    + legend(
        holds=not view.holds.empty,
        provisional=provisional,
        cumulative=any(not memory.empty for memory in memories.values()),
    )
)
if view.shots.empty:
    st.write("No shot in this time. Choose a longer time, or one run.")
    st.stop()

press_charts.events_row(view, zone)
for key in press_charts.present(view):
    with st.container(gap=None):
        press_charts.characteristic_row(view, memories, key, zone, unit=units.get(key))
st.write(cost_words(view.limits["cost"], settings.charts.false_alarms_per_day))
if provisional:
    st.write(provisional_words.cost_words())
# A link of our own: Streamlit's would open another tab, or know no page where this one runs alone.
st.html(f'<a href="limits?press={quote(name)}" target="_self">Study a run and approve limits</a>')

chosen = st.session_state.pop("press_shot", None)
if chosen is not None:
    shot_values.show(chosen)
