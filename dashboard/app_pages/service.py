"""Service: whether everything works, what was refused, jobs, channels to people, journal, maintenance."""

import streamlit as st

from dashboard.blocks import (
    acting,
    service_channels,
    service_health,
    service_jobs,
    service_journal,
    service_maintenance,
    service_refused,
    service_words,
)
from dashboard.queries import database

PARTS = {
    "Health": service_health.figures,
    "Refused": service_refused.show,
    "Jobs": service_jobs.show,
    "Channels": service_channels.show,
    "Journal": service_journal.show,
    "Maintenance": service_maintenance.show,
}

st.title("Service")
acting.say()
service_health.head()
part = st.segmented_control(
    "Part", list(PARTS), default="Health", required=True, key="service_part", label_visibility="collapsed"
)
PARTS[part]()
if clocks := service_words.two_clocks(database.clock().speed):
    st.caption(clocks)
