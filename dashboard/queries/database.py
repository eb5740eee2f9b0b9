"""The store and the clock as the screens see them: opened once a process, shared by every browser."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa
import streamlit as st

from collector.clock import ServiceClock, real_clock
from collector.settings import Settings, load_settings
from collector.store import clock as stored_clock
from collector.store.database import open_engine, read, upgrade


@st.cache_resource(show_spinner=False)
def settings() -> Settings:
    """The settings of this process, read once."""
    return load_settings()


@st.cache_resource(show_spinner=False)
def engine() -> sa.Engine:
    """The one engine of this process; its pool is safe to use from every session's thread.

    The tables are brought up to date, so that screens may be started before the first collector.
    """
    opened = open_engine(settings().database_url)
    upgrade(opened)
    return opened


def clock() -> ServiceClock:
    """The service clock that the collector saved, or the wall clock before it ever ran.

    Read anew at each call (one row): a demo may restart it at another time or speed.
    """
    with read(engine()) as conn:
        return stored_clock.load(conn) or real_clock()


def zone() -> ZoneInfo:
    """The time zone in which people read times."""
    return ZoneInfo(settings().time_zone)


def local(moment: datetime) -> datetime:
    """A stored time, in the shop's zone. For display only: everything inside stays in UTC."""
    return moment.astimezone(zone())
