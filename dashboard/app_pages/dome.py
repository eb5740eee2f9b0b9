"""Dome: what flagged shots became, what goes along with it, and what flags were worth."""

from datetime import timedelta

import pandas as pd
import streamlit as st

from collector.contract import quantities, unit_names
from collector.store.database import read
from dashboard.blocks import dome_tables, dome_words
from dashboard.charts import dome as charts
from dashboard.queries import database, dome_flags
from dashboard.queries import dome as queries
from rules.dome.effect import effects
from rules.dome.link import compare

DAYS = {"7 days": 7, "30 days": 30, "all": None}
ALL = "all"
FLAGS = {"either": "Signal or hold", "signal": "Signal", "hold": "Hold"}


def choose(label: str, offered: pd.Series, *, key: str) -> str | None:
    """A filter: one of what was gauged, or all."""
    options = [ALL, *dict.fromkeys(name for name in offered if isinstance(name, str))]
    chosen = st.selectbox(label, options, key=key, width=170, persist_state="session")
    return None if chosen == ALL else chosen


settings = database.settings()
now = database.clock().now()
dark = st.context.theme.type == "dark"

with read(database.engine()) as conn:
    gauged = queries.characteristics(conn)

st.title("Dome")
if not gauged:
    st.info(
        "No disc has been gauged yet. Readings come from the Gauging page, by MQTT, or from a file; "
        "dome counts from 24 h after molding on.",
        icon=":material/straighten:",
    )
    st.stop()

with st.container(horizontal=True, vertical_alignment="bottom"):
    characteristic = st.segmented_control(
        "Characteristic", gauged, default="dome" if "dome" in gauged else gauged[0], required=True,
        format_func=quantities.label, key="dome_characteristic", persist_state="session",
    ) or gauged[0]  # fmt: skip
    flag = st.segmented_control(
        "A disc is flagged by", list(FLAGS), default="either", required=True, format_func=FLAGS.__getitem__,
        key="dome_flag", persist_state="session",
    ) or "either"  # fmt: skip
    days = st.segmented_control(
        "Gauged in the last", list(DAYS), default="30 days", required=True, key="dome_days",
        persist_state="session",
    ) or "all"  # fmt: skip

with read(database.engine()) as conn:
    offered = queries.choices(conn, characteristic)
    canonical = queries.unit_of(conn, characteristic)
unit = unit_names.symbol(canonical)
with st.container(horizontal=True, vertical_alignment="bottom"):
    press = choose("Press", offered["press"], key="dome_press")
    mold = choose("Mold", offered["mold"], key="dome_mold")
    run = choose("Run", offered["run"], key="dome_run")
    sigma = st.number_input(
        f"Gauge sigma, {unit}", min_value=0.0, value=None, step=0.01, format="%.3f", width=160,
        placeholder="not known", key="dome_sigma", persist_state="session",
        help="Standard deviation of one reading by the gauge alone, from a gauge study.",
    )  # fmt: skip

length = DAYS[days]
scope = queries.Scope(
    characteristic=characteristic, press=press, mold=mold, run=run,
    since=None if length is None else now - timedelta(days=length),
)  # fmt: skip
with read(database.engine()) as conn:
    found = queries.readings(conn, scope)
    discs = found.discs
    values = queries.shot_columns(conn, list(discs["shot_id"]))
    by_key = dome_flags.flags_by_key(conn, discs)

if discs.empty and found.apart.empty:
    st.info(
        f"Nothing was gauged here in the last {days}; choose a longer time, or other filters."
        if length else "Nothing was gauged here; choose other filters.",
        icon=":material/filter_alt:",
    )  # fmt: skip
    st.stop()

flagged = {
    "either": discs["signaled"] | discs["on_hold"],
    "signal": discs["signaled"],
    "hold": discs["on_hold"],
}[flag].to_numpy(dtype=bool)
runs = [f"{press_id} {run_id}" for press_id, run_id in zip(discs["press_id"], discs["run_id"], strict=True)]
sigma = sigma or None
difference = compare(discs["value"], flagged, runs, gauge_sigma=sigma)
label = quantities.label(characteristic)

st.header(dome_words.difference(difference, characteristic, canonical), anchor=False)
st.markdown(
    f"A disc is flagged when {dome_words.FLAG[flag]}. "
    f"{dome_words.apart(found.apart['reason'], characteristic, int(discs['late'].sum()))}"
)
method = f"{dome_words.method(difference)} {dome_words.gauge(difference, sigma, characteristic, canonical)}"
st.markdown(f":small[{method.strip()}]")

if len(discs):
    points, means = dome_tables.groups(discs, flagged)
    limits = dome_tables.common_limits(discs, settings.tolerance, characteristic)
    st.altair_chart(
        charts.readings(points, means, label=label, unit=unit, limits=limits, dark=dark),
        alt=f"{label} of flagged and unflagged discs by run, with means and 95 % intervals",
    )
    if points["series"].nunique() < len(set(runs)):
        st.caption(
            f"The chart shows {dome_tables.MOST_RUNS} runs, the newest of those with flagged and unflagged "
            "discs first; the sentences count all."
        )

st.subheader(f"What {label.lower()} goes along with", anchor=False)
charted = [key for key in values if (quantity := quantities.find(key)) is None or not quantity.timer]
along = effects(discs["value"], {key: values[key].to_numpy(dtype=float) for key in charted}, runs)
st.markdown(dome_words.strongest(along, characteristic, canonical))
if characteristic == "weight" and "part_weight" in charted:
    st.caption(f"{dome_words.meaning('weight')} {dome_words.meaning('part_weight')}")
stated = [each for each in along if each.over_spread is not None]
if stated:
    st.altair_chart(
        charts.effects(
            dome_tables.effect_points(stated, characteristic, canonical), label=label, unit=unit, dark=dark
        ),
        alt=f"Change of {label.lower()} with each characteristic of the shot, with 95 % intervals",
    )
if along:
    with st.expander("Slopes in units, and what could not be said"):
        st.table(dome_tables.effect_table(along, characteristic, canonical), alt="Slopes and their certainty")

st.subheader("What flags were worth", anchor=False)
judged = dome_tables.judge(discs, settings.tolerance, characteristic, sigma)
if judged is None:
    molds = sorted({mold for mold in discs["mold"] if isinstance(mold, str)})
    example = molds[0] if molds else "MOLD"
    setting = f'[tolerance."{example}".{characteristic}]'
    st.markdown(
        f"No tolerance for {label.lower()} is set for {' or '.join(molds) or 'any mold'}, so nothing is in "
        f"or out. Set `{setting}` with `low` and `high` ({unit}) in the settings."
    )
else:
    known, out = judged
    table = dome_tables.skill_rows(discs[known], flagged[known], out, by_key, known)
    st.markdown(dome_words.skill(table[0][1]))
    st.table(dome_tables.skill_table(table), alt="What each kind of flag foretold")
    st.markdown(
        ":small[Intervals are Wilson's, 95 %. Discs on hold are gauged more often than others, so the shares "
        "hold for gauged discs, not for all that were made.]"
    )

if len(found.apart):
    with st.expander(f"Left out ({len(found.apart)})"):
        listed: pd.DataFrame = dome_tables.apart_table(found.apart, characteristic)
        st.dataframe(listed, hide_index=True, alt="Readings that are left out, with the reason")
