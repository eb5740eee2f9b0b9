"""Alarms: what needs a person, what moved and since when, what to hold, what to check first."""

import streamlit as st

from collector.store.database import read
from dashboard.blocks import acting, alarm_detail, alarm_handling, hold_handling
from dashboard.blocks.alarm_words import line
from dashboard.queries import alarms as queries
from dashboard.queries import database

NEEDED, HELD, CLOSED = "Needs a person", "On hold", "Closed lately"

engine = database.engine()
with read(engine) as conn:
    found = queries.listing(conn)
    seen = queries.fingerprint(conn)

st.title("Alarms")
acting.say()
which = st.segmented_control(
    "Which alarms",
    [NEEDED, HELD, CLOSED],
    default=NEEDED,
    required=True,
    key="alarms_which",
    label_visibility="collapsed",
)
lines = {each.alarm.id: each for each in {NEEDED: found.needed, CLOSED: found.closed}.get(which, ())}
chosen = None

lists, one = st.columns([1, 2], gap="medium")
with lists:
    if lines:
        chosen = st.radio(
            "Alarm",
            list(lines),
            format_func=lambda number: line(lines[number].press, lines[number].alarm, database.local),
            key=f"alarms_chosen_{which}",
            label_visibility="collapsed",
        )
    elif which == CLOSED:
        st.write("No alarm was closed yet.")
    if which == HELD:
        hold_handling.by_hand()
    if which == NEEDED and found.steady:
        st.write(f"Inside normal variation, leave alone: {', '.join(found.steady)}.")

with one:
    if chosen is not None:
        with read(engine) as conn:
            detail = queries.detail(conn, chosen)
        assert detail is not None  # it was in the list a moment ago, and alarms are never deleted
        alarm_detail.head(detail)
        hold_handling.of_alarm(detail)
        alarm_handling.handle(detail)
        alarm_detail.moved(detail)
        alarm_detail.before(detail)
        alarm_detail.causes(detail)
        alarm_detail.steps(detail)
    elif which == HELD:
        hold_handling.waiting()
    elif which == NEEDED:
        st.subheader("Inside normal variation: leave alone")
        st.write(
            "No press asks for anyone. Adjusting a press that runs as usual adds variation: every correction "
            "of a chance deviation becomes a deviation of its own."
        )


@st.fragment(run_every=5.0)
def watch() -> None:
    """Show the page anew as soon as an alarm is new or takes a step."""
    with read(engine) as conn:
        if queries.fingerprint(conn) != seen:
            st.rerun()


watch()
