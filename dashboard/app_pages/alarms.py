"""Alarms: what needs a person, what moved and since when, what to hold, what to check first."""

import streamlit as st

from collector.store.database import read
from dashboard.blocks import (
    acting,
    alarm_choice,
    alarm_detail,
    alarm_handling,
    alarm_measures,
    alarm_quiet,
    hold_by_hand,
    hold_handling,
    live,
)
from dashboard.blocks.plain import sentence
from dashboard.queries import alarms as queries
from dashboard.queries import database
from dashboard.queries.alarm_detail import detail as detail_of

NEEDED, HELD, QUIET = "Needs a person", "On hold", "Kept quiet"
CLOSED, LOAD = "Closed lately", "Load"

engine, settings = database.engine(), database.settings()
with read(engine) as conn:
    found = queries.listing(
        conn, site=settings.site, now=database.clock().now(), settings=settings.alarms
    )
    seen = queries.fingerprint(conn)

st.title("Alarms")
acting.say()
which = st.segmented_control(
    "Which alarms",
    [NEEDED, HELD, QUIET, CLOSED, LOAD],
    default=NEEDED,
    required=True,
    key="alarms_which",
    label_visibility="collapsed",
)
listed = {NEEDED: found.needed, QUIET: found.quiet, CLOSED: found.closed}.get(which, ())
chosen = None

lists, one = st.columns([1, 2], gap="medium")
with lists:
    if listed:
        chosen = alarm_choice.choose(which, listed)
    elif which == CLOSED:
        st.write("No alarm was closed yet.")
    elif which == QUIET:
        st.write("No alarm is kept quiet.")
    if which == HELD:
        hold_by_hand.by_hand()
    if which == QUIET:
        alarm_quiet.take_out()
    if which == NEEDED and found.steady:
        st.write(sentence(f"Inside normal variation, leave alone: {', '.join(found.steady)}."))

with one:
    if which == QUIET:
        alarm_quiet.out_of_service()
    if chosen is not None:
        with read(engine) as conn:
            detail = detail_of(conn, chosen)
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
        hold_handling.decided()
    elif which == NEEDED and found.steady:
        st.subheader("Inside normal variation: leave alone")
        st.write(
            "No press asks for anyone. Adjusting a press that runs as usual adds variation: every correction "
            "of a chance deviation becomes a deviation of its own."
        )
    elif which == NEEDED:
        st.subheader("No alarm needs a person")
        st.write("That is all: no press sends shots now, or what it has to say is kept quiet.")

if which == LOAD:
    alarm_measures.show()


@live.every(5.0)
def watch() -> None:
    """Show the page anew as soon as an alarm is new or takes a step."""
    with read(engine) as conn:
        changed = queries.fingerprint(conn) != seen
    if changed:
        st.rerun()


watch()
