"""Gauging on a tablet: which disc next, and one field for what the gauge says."""

from datetime import timedelta

import streamlit as st

from collector.contract import quantities
from collector.gauging.model import NewGauging
from collector.store.database import read
from dashboard.blocks import gauging_lists, live, next_disc, reading_form, signed_in
from dashboard.blocks.disc_words import age_caution, origin, place, reason, wait_words
from dashboard.blocks.plain import sentence
from dashboard.queries import database
from dashboard.queries import gauging as queries

LOOK_BACK = timedelta(hours=8)

settings = database.settings()
engine = database.engine()
now = database.clock().now()
dark = st.context.theme.type == "dark"
state = st.session_state
state.setdefault(reading_form.CHOSEN, None)
state.setdefault("gauging_skipped", set())

st.html(next_disc.field_style())

disc_keys = [row.key for row in quantities.QUANTITIES if "disc" in row.applies_to]
left, middle, right = st.columns([1, 1, 1.3], vertical_alignment="bottom")
with left:
    who = signed_in.who("gauging_who", lasting=True)
gauge = middle.selectbox("Gauge", settings.gauges, key="gauging_gauge", persist_state="session")
characteristic = right.segmented_control(
    "Characteristic", disc_keys, required=True, default=disc_keys[0], key="gauging_characteristic",
    format_func=quantities.label, persist_state="session",
)  # fmt: skip
station = reading_form.Station(who, gauge, characteristic or disc_keys[0])

with read(engine) as conn:
    todo = queries.to_gauge(conn, now, characteristic=station.characteristic)
    done = queries.gauged_since(conn, now - LOOK_BACK, characteristic=station.characteristic)
    presses = queries.press_names(conn, settings.site)

ripe = [disc for disc in todo if disc.due_at <= now]
soon = len(todo) - len(ripe)
waiting = [disc for disc in ripe if disc.shot_id not in state.gauging_skipped]
chosen = state[reading_form.CHOSEN]
disc = chosen or next(iter(waiting), None)

reading_form.say()
with st.container(border=True):
    if disc is not None:
        mark, why = reason(disc)
        st.html(
            next_disc.card(
                mark, why, place(disc.tray, disc.position, disc.counter), origin(disc, now), dark=dark
            )
        )
        if caution := age_caution(disc, station.characteristic, now):
            st.markdown(f":material/schedule: {caution}")
        reading_form.show(disc, station)
        st.html(
            next_disc.focus_script(
                f"{disc.shot_id} {state.get(reading_form.TURN, 0)} {station.characteristic}",
                select=bool(state.get(next_disc.FIELD)),
            ),
            unsafe_allow_javascript=True,
        )
    elif todo and not ripe:
        ahead = todo[0]
        wait = wait_words(ahead.due_at - now)
        st.subheader(f"Nothing is old enough now; the next disc is in {wait}")
        where = place(ahead.tray, ahead.position, ahead.counter)
        st.write(sentence(f"{where}, {origin(ahead, now)}"))
        st.write(reading_form.NO_DISC)
    else:
        st.subheader("Nothing is due")
        st.write(
            "Discs on hold and one disc of each tray appear here when they are old enough "
            f"({quantities.label(station.characteristic).lower()}: {station.set_time_h:.0f} h after molding)."
        )
        st.write(reading_form.NO_DISC)

total = done + len(ripe)
st.progress(
    done / total if total else 0.0,
    text=f"{done} gauged in the last 8 h, {len(ripe)} due now, {soon} more within the hour",
)

with st.container(horizontal=True, vertical_alignment="bottom"):
    if disc is not None and st.button("Skip this disc", icon=":material/skip_next:"):
        if not chosen:
            state.gauging_skipped.add(disc.shot_id)
        state[reading_form.CHOSEN] = None
        st.rerun()
    if state.gauging_skipped and st.button(f"Bring back {len(state.gauging_skipped)} skipped"):
        state.gauging_skipped.clear()
        st.rerun()
    with st.popover("Another disc", icon=":material/search:"), st.form("gauging_choice", border=False):
        by = st.radio("Find it by", ["Tray and position", "Press and shot"], horizontal=True)
        press = st.selectbox("Press", [None, *presses], format_func=lambda name: name or "any press")
        tray = st.text_input("Tray", placeholder="41")
        number = st.number_input("Position or shot number", min_value=0, value=None, step=1)
        if st.form_submit_button("Show this disc", type="primary"):
            wanted = NewGauging(
                site=settings.site, characteristic=station.characteristic, value=0.0, unit="", press=press,
                gauged_at=now,
                **({"tray": tray.strip() or None, "position": number} if by.startswith("Tray")
                   else {"counter": number}),
            )  # fmt: skip
            with read(engine) as conn:
                found = queries.find_disc(conn, wanted)
            if isinstance(found, str):
                state[reading_form.MESSAGE] = ("refused", found)
            else:
                state[reading_form.CHOSEN] = found
                state.pop(reading_form.MESSAGE, None)
            st.rerun()

gauging_lists.entries(engine, station)
gauging_lists.due(todo, now)
gauging_lists.orders(engine, who)


@live.every(30.0)
def watch() -> None:
    """Show the next disc by itself once it is old enough; never while one is being gauged."""
    moment = database.clock().now()
    if disc is None and any(ahead.due_at <= moment for ahead in todo):
        st.rerun()


if disc is None:
    watch()
