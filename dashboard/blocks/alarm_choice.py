"""Which alarm of a list is looked at: it stays the same while the list changes around it."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard.blocks.alarm_words import line
from dashboard.queries import database
from dashboard.queries.alarms import AlarmLine

CHOSEN = "alarms_chosen"


def choose(name: str, listed: Sequence[AlarmLine]) -> int:
    """Number of the alarm that is shown beside its list.

    A step moves an alarm within the list, or out of it: whoever took that step, or reads, keeps it before
    them. The first of the list is shown only to who has chosen none yet.

    Parameters
    ----------
    name : str
        Of the list.
    listed : sequence of AlarmLine
        At least one.
    """
    lines = {each.alarm.id: each for each in listed}
    chosen: dict[str, int] = st.session_state.setdefault(CHOSEN, {})
    kept = chosen.setdefault(name, next(iter(lines)))
    picked = st.radio(
        "Alarm",
        list(lines),
        index=list(lines).index(kept) if kept in lines else None,
        format_func=lambda number: line(lines[number].press, lines[number].alarm, database.local),
        key=f"{CHOSEN}_{name}_{'_'.join(map(str, lines))}",
        label_visibility="collapsed",
    )
    chosen[name] = kept if picked is None else picked
    return chosen[name]
