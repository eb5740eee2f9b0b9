"""The measures of the alarms, read at most once a minute for all browsers."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from collector.alarms.lives import read_measures
from collector.alarms.measures import Measures
from collector.store.database import read
from dashboard.queries import database

OF_DISCS = "dome"


def measures() -> Measures:
    """Of the last days up to now, floor time."""
    now = database.clock().now()
    return _measures(now.replace(second=0, microsecond=0))


@st.cache_data(ttl=60.0, max_entries=4, show_spinner=False)
def _measures(now: datetime) -> Measures:
    settings = database.settings()
    allowed = {
        mold: (own[OF_DISCS].low, own[OF_DISCS].high)
        for mold, own in settings.tolerance.items()
        if OF_DISCS in own
    }
    with read(database.engine()) as conn:
        return read_measures(conn, now=now, operators=settings.alarms.operators, allowed=allowed)
