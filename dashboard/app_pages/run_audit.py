"""Run audit: choose a run, read the document that answers a complaint about it, take it along."""

import shlex

import streamlit as st

from collector.errors import UserError
from collector.store.database import read
from dashboard.audit import render
from dashboard.audit.audit import audit
from dashboard.audit.collect import collect
from dashboard.blocks.plain import sentence
from dashboard.blocks.run_words import in_short, line
from dashboard.queries import database
from dashboard.queries import runs as queries

engine = database.engine()
with read(engine) as conn:
    found = queries.newest(conn)


@st.cache_data(ttl="1h", max_entries=20, show_spinner="Taking the evidence")
def document(run_id: int, fingerprint: tuple[object, ...]) -> tuple[str, str]:  # noqa: ARG001 - names the state
    """HTML and JSON of an audit; taken anew when there is new evidence."""
    with read(engine) as conn:
        moment = database.clock().now()
        evidence = collect(conn, run_id, settings=database.settings(), taken_at=moment)
    made = audit(evidence, database.zone())
    return render.html(made), made.to_json()


st.title("Run audit")
if not found:
    st.write("No run has shots yet: there is nothing to audit.")
    st.stop()

lines = {each.id: each for each in found}
asked = next((each.id for each in found if each.name == st.query_params.get("run")), found[0].id)
left, middle, right = st.columns([4, 1, 1], vertical_alignment="bottom")
chosen = left.selectbox(
    "Run, newest first",
    list(lines),
    index=list(lines).index(asked),
    format_func=lambda run_id: line(lines[run_id], database.local),
    key="run_audit_run",
)
run = lines[chosen]
st.query_params["run"] = run.name
if run.archived:
    st.html(in_short(run))
    st.markdown(
        "**The values of this run are in the archive.** Its alarms, holds and gaugings stand on their own "
        "pages as before. To audit it, put the values back, at a terminal:"
    )
    st.code(f"evenrun archive --restore {shlex.quote(run.name)}", language=None)
    st.stop()
with read(engine) as conn:
    seen = queries.fingerprint(conn, run.id)
try:
    page, figures = document(run.id, seen)
except UserError as error:
    st.markdown(f"{sentence(str(error)[:1].upper() + str(error)[1:])}.")
    st.stop()
middle.download_button(
    "HTML", page, file_name=f"audit-{run.name}.html", mime="text/html", icon=":material/download:",
    on_click="ignore", width="stretch",
)  # fmt: skip
right.download_button(
    "JSON", figures, file_name=f"audit-{run.name}.json", mime="application/json", icon=":material/download:",
    on_click="ignore", width="stretch",
)  # fmt: skip
st.html(in_short(run))
st.caption("HTML: the whole audit in one file, for whoever asked; it prints on A4. JSON: every figure of it.")
st.iframe(page, height="content", alt=f"Run audit of {run.name}")
