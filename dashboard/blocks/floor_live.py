"""The floor's drawing, made at most once a second however many screens show it."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from collector.clock import wall_now
from collector.store.database import read
from dashboard.blocks.floor_screen import drawing
from dashboard.queries import database
from dashboard.queries.floor import read_floor
from dashboard.queries.gauging import due_count

# A little under the period of the screens, so that each of their turns finds a new second.
FRESH_S = 0.9


# What is due changes with the age of discs, not with every shot: once a minute of the floor will do.
@st.cache_data(max_entries=1, show_spinner=False)
def gaugings_due(at: datetime) -> int:
    """How many discs were old enough to be gauged at a minute of the floor."""
    with read(database.engine()) as conn:
        return due_count(conn, at)


@st.cache_data(ttl=FRESH_S, max_entries=2, show_spinner=False)
def floor_drawing() -> str:
    """The newest drawing of the floor."""
    settings = database.settings()
    now = database.clock().now()
    with read(database.engine()) as conn:
        floor = read_floor(
            conn,
            site=settings.site,
            now=now,
            wall=wall_now(),
            stop_cycles=settings.charts.stop_cycles,
            gaugings_due=gaugings_due(now.replace(second=0, microsecond=0)),
            first_shot_approval=settings.charts.first_shot_approval,
        )
    return drawing(
        floor,
        local=database.local,
        provisional_shots=settings.charts.provisional_shots,
        stop_cycles=settings.charts.stop_cycles,
    )
