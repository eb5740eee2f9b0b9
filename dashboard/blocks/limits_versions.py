"""Which limits are and were in force: with by whom, since which shot, and why."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import pandas as pd
import streamlit as st

from collector.actions.limits import retire
from collector.contract import quantities
from collector.plan import charts_from_json
from dashboard.blocks import acting, signed_in
from dashboard.blocks.limits_words import chart_words
from dashboard.blocks.provisional_words import SPEND
from dashboard.queries import database

IN_FORCE, ALL = "In force", "All"
TAKE_OUT = "Take limits out of force"
COLUMNS = (
    "Characteristic", "Version", "State", "Standing", "Approved by", "From shot", "Made", "Retired", "Why",
    "Left out", "Signals", "For",
)  # fmt: skip


def show(rows: Sequence[Any], names: dict[int, str], counters: dict[int, int | None]) -> None:
    """The versions of a press, newest first.

    Parameters
    ----------
    rows : sequence
        From :func:`dashboard.queries.limits.versions`.
    names : dict
        Run names by id.
    counters : dict
        Counters of the shots that were left out, by id.
    """
    st.subheader("Versions", anchor=False)
    if not rows:
        st.write("No limits yet: they stand after the first steady shots of a run.")
        return
    shown = st.segmented_control(
        "Versions", [IN_FORCE, ALL], default=IN_FORCE, required=True, key="limits_versions",
        label_visibility="collapsed",
    )  # fmt: skip
    chosen = [
        row for row in rows if shown == ALL or state(row, names) in ("in force", "from the next shot on")
    ]
    if not chosen:
        st.write("None is approved and in force: each run makes provisional ones of its own.")
        st.write(f"{SPEND[:1].upper()}{SPEND[1:]}.")
        return
    st.dataframe(table(chosen, names, counters), hide_index=True, alt="Versions of limits of this press")
    _retire([row for row in rows if row.approved_by and row.retired_at is None])


def _retire(rows: Sequence[Any]) -> None:
    """Take approved limits out of force: a person, with a reason."""
    if not rows or not signed_in.may("retire limits", TAKE_OUT):
        return
    with st.expander(TAKE_OUT), st.form("retire_limits", border=False):
        by_id = {row.id: row for row in rows}
        chosen = st.selectbox(
            "Limits", list(by_id), index=None, key="retire_which", width=420, placeholder="choose which",
            format_func=lambda each: _named(by_id[each]),
        )  # fmt: skip
        with st.container(horizontal=True, vertical_alignment="bottom"):
            who = signed_in.who("retire_who")
            why = st.text_input("Why", key="retire_why", width=320)
        pressed = st.form_submit_button("Take out of force")
    if pressed and chosen is not None:
        done = "Taken out of force; the next steady shots make provisional limits."
        filled = ("retire_which", "retire_why")
        acting.carry_out(done, retire, chosen, who=who, why=why.strip(), clears=filled)
    elif pressed:
        acting.refuse("choose which limits are taken out of force")
        st.rerun()


def _named(row: Any) -> str:
    where = " · ".join(part for part in row.context.split("|") if part != "-")
    return f"{quantities.label(row.key)}, version {row.version}, {where or 'any mold'}"


def state(row: Any, names: dict[int, str]) -> str:
    """In force, retired, or of a run of its own."""
    if row.retired_at is not None:
        return "retired"
    if row.approved_by is None:
        return f"of run {names.get(row.run_id, row.run_id)} only"
    return "in force" if row.from_shot_id is not None else "from the next shot on"


def table(rows: Sequence[Any], names: dict[int, str], counters: dict[int, int | None]) -> pd.DataFrame:
    """One row a version, in words."""
    return pd.DataFrame([_row(row, names, counters) for row in rows], columns=list(COLUMNS))


def left_out_ids(rows: Sequence[Any]) -> list[int]:
    """Shots that were left out of any of these versions."""
    return sorted({shot_id for row in rows for shot_id in _study(row).get("left_out", ())})


def _study(row: Any) -> dict[str, Any]:
    found: dict[str, Any] = (row.cost or {}).get("study", {})
    return found


def _row(row: Any, names: dict[int, str], counters: dict[int, int | None]) -> dict[str, str]:
    out = [counters.get(shot_id) or shot_id for shot_id in _study(row).get("left_out", ())]
    charts = [chart_words(row.key, chart) for chart in charts_from_json(row.charts)]
    return {
        "Characteristic": quantities.label(row.key),
        "State": state(row, names),
        "Standing": row.standing,
        "Signals": " ".join(charts),
        "Approved by": row.approved_by or "the service, from 25 shots",
        "Why": row.reason or "",
        "Made": _when(row.at),
        "Retired": "" if row.retired_at is None else _when(row.retired_at),
        "Version": str(row.version),
        "From shot": "" if row.run is None else f"{row.run}, {_counter(row)}",
        "For": " · ".join(part for part in row.context.split("|") if part != "-") or "any mold",
        "Left out": ", ".join(f"shot {each:,}" for each in out),
    }


def _when(moment: datetime) -> str:
    return f"{database.local(moment):%a %d %b %H:%M}"


def _counter(row: Any) -> str:
    return f"shot {row.counter:,}" if row.counter is not None else "first shot"
