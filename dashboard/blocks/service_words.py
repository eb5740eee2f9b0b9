"""Words of the Service page. Pure: rows of tables from what was read, times in the shop's zone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from collector.health import Collector, Health, Press
from collector.jobs.job import Job
from collector.store.jobs import Result
from dashboard.queries.service import Channel

ACT, SIGNAL = "■", "◆"  # a square asks a person to act, a diamond is a signal
DAY = "%a %d %b %H:%M"
Local = Callable[[datetime], datetime]

MESSAGE_STATES = {
    "waiting": "waits", "sending": "being sent", "sent": "sent", "failed": "not sent",
    "superseded": "taken back", "maybe_sent": "maybe sent",
}  # fmt: skip
REFUSAL_STATES = {"kept": "waits", "replayed": "read later", "put_aside": "put aside"}
SUBJECTS = {"alarms": "alarms", "shift_summary": "shift summary", "gauging_due": "gauging due"}


def health_words(health: Health) -> str:
    """One line when all is well."""
    newest = min(health.collectors, key=lambda one: one.age_s, default=None)
    if newest is None:
        return "Everything works."
    return f"Everything works: collector {newest.name} spoke {ago(newest.age_s)}."


def two_clocks(speed: float) -> str:
    """Whose times stand where, on a floor whose clock is not the wall's; empty elsewhere."""
    if speed == 1.0:
        return ""
    return (
        f"The floor's clock runs {speed:g} times as fast as yours. The journal and maintenance go by the "
        "floor's; refusals, jobs and channels by yours."
    )


def collector_row(one: Collector) -> dict[str, str]:
    """One collector as a row."""
    counts = one.detail.get("counts", {})
    batches = one.detail.get("batches", 0)
    per_batch = f"{1000 * one.detail.get('store_s', 0.0) / batches:.1f} ms" if batches else "none yet"
    return {
        "Collector": one.name,
        "Last spoke": _last_word(one),
        "Broker": str(one.detail.get("broker", "not known")) if one.state == "alive" else "",
        "MQTT": str(one.detail.get("mqtt", "")),
        "Stored": f"{counts.get('stored', 0):,}",
        "Refused": f"{counts.get('refused', 0):,}",
        "Waiting to be stored": f"{one.detail.get('in_hand', 0):,}" if one.state == "alive" else "",
        "Store, a batch": per_batch,
    }


def _last_word(one: Collector) -> str:
    """When it spoke; one that is gone says how it went."""
    match one.state:
        case "stopped":
            return f"stopped {ago(one.age_s)}"
        case "not heard":
            return f"{SIGNAL} not heard for {span_words(one.age_s)}"
        case _:
            return ago(one.age_s)


def press_row(one: Press) -> dict[str, str]:
    """One press as a row."""
    return {
        "Press": one.name,
        "Newest shot": "none yet" if one.age_s is None else f"{span_words(one.age_s)} ago",
        "Usual cycle": "not known" if one.usual_cycle_s is None else f"{one.usual_cycle_s:.1f} s",
        "Time to arrive": "not known" if one.lag_s is None else span_words(one.lag_s),
        "State": f"{SIGNAL} silent" if one.silent else "no run" if one.idle else "as usual",
    }


def job_row(job: Job, last: Result | None, local: Local) -> dict[str, str]:
    """One timed job as a row; what its last run came to."""
    row = {"Job": job.name, "Every": together(span_words(job.every_s))}
    if last is None:
        return row | {"Last run": "not yet", "Took": "", "What came of it": "", "Missed": ""}
    came = f"{ACT} failed: {last.outcome}" if last.failed else last.outcome or "nothing to do"
    if last.finished_at is None or last.finished_at < last.started_at:
        came = "running, or cut off"
    missed = f"until {local(last.missed_until):%a %d %b %H:%M}: {last.missed}" if last.missed_until else ""
    return row | {
        "Last run": together(f"{local(last.started_at):%a %H:%M:%S}"),
        "Took": "" if last.took_s is None else together(f"{last.took_s:.2f} s"),
        "What came of it": came,
        "Missed": missed,
    }


def channel_row(one: Channel, local: Local) -> dict[str, str]:
    """One channel as a row."""
    state = one.state
    off = state.disabled_at
    return {
        "Channel": one.name,
        "Read by": ", ".join(one.roles),
        "Takes": ", ".join((*(SUBJECTS[each] for each in one.tell), *_priorities(one))),
        "Shifts": ", ".join(one.shifts) or "always",
        "State": "on" if off is None else f"{ACT} off since {local(off):{DAY}}",
        "Last arrived": "never" if state.last_sent_at is None else f"{local(state.last_sent_at):{DAY}}",
        "Last error": state.last_error or "",
    }


def _priorities(one: Channel) -> Sequence[str]:
    return () if len(one.priorities) == 3 else [f"{each} priority" for each in one.priorities]


def message_row(row: Any, title: str, local: Local) -> dict[str, str]:
    """One message as a row."""
    return {
        "Time": f"{local(row.created_at):%a %H:%M:%S}",
        "Channel": row.channel,
        "About": row.topic,
        "Title": title,
        "State": MESSAGE_STATES.get(row.state, row.state),
        "Tries": str(row.attempts),
        "Error": row.last_error or "",
    }


def refusal_row(row: Any, local: Local) -> dict[str, str]:
    """One refusal as a row."""
    return {
        "Time": f"{local(row.received_at):%a %d %b %H:%M:%S}",
        "Source": row.source,
        "Where": row.topic or row.position,
        "Reason": row.reason.replace("_", " "),
        "Detail": row.detail,
        "State": REFUSAL_STATES[row.state],
    }


def ago(seconds: float) -> str:
    """``just now``, ``3 s ago``: a figure that dances every second draws the eye for nothing."""
    return "just now" if seconds < 3 else f"{span_words(seconds)} ago"


def span_words(seconds: float) -> str:
    """A length of time as people say it: ``3 s``, ``12 min``, ``5.2 h``, ``4.0 d``."""
    if seconds < 1:
        return f"{seconds:.2g} s" if seconds > 0 else "0 s"
    if seconds < 120:
        return f"{seconds:.0f} s"
    if seconds < 7200:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h" if seconds < 172_800 else f"{seconds / 86_400:.1f} d"


def together(text: str) -> str:
    """A short text that a narrow table shall not break."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def bytes_words(raw: bytes, most: int) -> str:
    """The beginning of what was refused, as text where it is text, else in hexadecimal."""
    cut = raw[:most]
    try:
        text = cut.decode("utf-8")
    except UnicodeDecodeError:
        return cut.hex(" ")
    return text if text.replace("\n", "").replace("\t", "").replace("\r", "").isprintable() else cut.hex(" ")
