"""Whether the service works, anew every few seconds; collectors and presses beside it."""

from __future__ import annotations

import streamlit as st

from collector.clock import wall_now
from collector.health import Health, read_health
from collector.store.database import read
from dashboard.blocks import live, service_leases
from dashboard.blocks import service_words as words
from dashboard.blocks.plain import plain, plain_rows
from dashboard.queries import database

FRESH_S = 4.0
EVERY_S = 5.0


@st.cache_data(ttl=FRESH_S, max_entries=1, show_spinner=False)
def health() -> Health:
    """The state of the service, read once for every browser."""
    with read(database.engine()) as conn:
        return read_health(conn, database.settings(), now=database.clock().now(), wall=wall_now())


@live.every(EVERY_S)
def head() -> None:
    """Well, or what is wrong and what to do."""
    found = health()
    if found.ok:
        st.markdown(plain(words.health_words(found)))
        return
    for reason in found.reasons:
        st.markdown(f":blue[{words.ACT}] **{plain(reason[:1].upper() + reason[1:])}.**")


@live.every(EVERY_S)
def figures() -> None:
    """Collectors, presses, and what waits in the outbox."""
    found = health()
    st.subheader("Collectors")
    if found.collectors:
        st.table(plain_rows(words.collector_row(one) for one in found.collectors))
    else:
        st.write("None has given a sign of life within the last hour.")
    service_leases.show()
    st.subheader("Presses")
    if found.presses:
        st.table(plain_rows(words.press_row(one) for one in found.presses))
    else:
        st.write("No press has reported yet.")
    st.subheader("What waits to be handed over")
    if not found.outbox:
        st.write("Nothing waits.")
    for one in found.outbox:
        waiting = f"{one.channel}: {one.messages:,}, the oldest for {words.span_words(one.age_s)}"
        st.markdown(plain(waiting))
    st.write(f"Refused in the last 24 h: {found.refused_24h:,}")
