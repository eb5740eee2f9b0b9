"""The words and shapes of the alarms page. A diamond is a signal, a square asks a person to act."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from collector.alarms.headline import amount, sides
from collector.alarms.model import Moved
from collector.contract import quantities
from collector.store.alarms import AlarmRow, StepRow
from collector.store.set_asides import SetAside
from dashboard.blocks.event_words import from_to, kind_words, step_words
from dashboard.blocks.plain import sentence
from dashboard.queries.alarm_detail import Detail, EventLine, ShotPlace

SIGNAL, ACT, QUIET = "◆", "■", "○"  # a diamond, a square, and a ring for what is kept quiet

# The colors of the floor screen: yellow means a signal, blue that a person must act.
_COLORED = {SIGNAL: f":yellow-background[{SIGNAL}]", ACT: f":blue[{ACT}]", QUIET: QUIET, "": ""}

Local = Callable[[datetime], datetime]

# That a condition is over; of the process, that the charts say so.
_OVER = {
    "silence": "heard again", "recipe": "back on the recipe", "data": "readings as usual again",
    "gauging": "gauged",
}  # fmt: skip


def over_words(kind: str) -> str:
    """How a condition of this kind is said to be over, on every screen."""
    return _OVER.get(kind, "inside limits again")


def state_words(alarm: AlarmRow) -> str:
    """Where an alarm stands, for people."""
    on_hold = ", discs on hold" if alarm.holding else ""
    if alarm.closed_at is not None:
        return f"closed: {alarm.cause}{on_hold}"
    who = alarm.acknowledged_by
    had = f"{who} had it, needs a cause" if who else "needs a cause"
    back = over_words(alarm.kind)
    return {
        "active_unacknowledged": "active, nobody has it yet",
        "active_acknowledged": f"active, {who} has it",
        "returned_unacknowledged": f"{back}, nobody looked yet",
        "latched_unacknowledged": f"{back}, nobody looked yet{on_hold}",
        "normal": f"{back}, {had}",
        "latched_acknowledged": f"{back}, {had}{on_hold}",
        "shelved": "shelved",
        "suppressed_by_design": "kept quiet while the press starts up or stands",
        "out_of_service": "out of service",
    }[alarm.state]


def shape(alarm: AlarmRow) -> str:
    """A diamond while the signal is there, a square when only a person is missing.

    A ring when something keeps it quiet, nothing once it is closed.
    """
    if alarm.closed_at is not None:
        return ""
    if alarm.beneath is not None:
        return QUIET
    return SIGNAL if alarm.state.startswith("active") else ACT


def line(press: str, alarm: AlarmRow, local: Local) -> str:
    """An alarm in the list, as Markdown."""
    what = sentence(f"{press}: {alarm.headline}")
    stands = sentence(f"{local(alarm.opened_at):%a %H:%M}, {state_words(alarm)}")
    return f"{_COLORED[shape(alarm)]} **{what}** ({stands})".strip()


def shelf_words(shelf: SetAside, local: Local) -> str:
    """Until when an alarm is shelved, by whom and why."""
    until = f" until {local(shelf.until):%a %H:%M}" if shelf.until else ""
    return f"Shelved{until} by {shelf.who}: {shelf.reason}."


def out_words(press: str, out: SetAside, local: Local) -> str:
    """What is out of service, since when, by whom and why."""
    what = press if out.key is None else f"{press}, {quantities.label(out.key).lower()}"
    return f"{what}: out of service since {local(out.at):%a %H:%M}, {out.who}: {out.reason}."


def since_words(found: Detail, local: Local) -> str:
    """Since which shot and time, with the shots between which it began."""
    if found.began is None:
        return "It is not known when it began."
    words = f"Since {place(found.began, local)}"
    turns = _turn_words(found, local)
    if found.earliest is None or found.latest is None or found.earliest == found.latest:
        return f"{words}.{turns}"
    between = f"{place(found.earliest, local)} and {place(found.latest, local)}"
    how_sure = {"gauging": ": the last good disc, and the first that is not", "data": ""}
    sure = how_sure.get(found.alarm.kind, " (90 % confidence)")
    return f"{words}; it began between {between}{sure}.{turns}"


def beside_words(found: Detail) -> str:
    """Which alarms of the press lie over the same shots, with their causes; empty where there is none."""
    if not found.beside:
        return ""
    told = [
        f"alarm {each.id} ({each.headline[:1].lower()}{each.headline[1:]}), "
        + (f"cause given: {each.cause}" if each.cause else "no cause given yet")
        for each in found.beside
    ]
    return f"The press had signaled over the same shots: {'; '.join(told)}."


def _turn_words(found: Detail, local: Local) -> str:
    """What went to the other side of its level meanwhile, and when: the date above is of the first side."""
    said = ""
    for item in found.moved:
        turned = found.turned.get(item.key)
        if turned is not None:
            now, before = sides(item)
            name = quantities.label(item.key)
            said += f" {name}: {now} since {place(turned, local)}, {before} before that."
    return said


def place(shot: ShotPlace, local: Local) -> str:
    """A shot with its clock time."""
    clock = f"{local(shot.ended_at):%a %H:%M}"
    return clock if shot.counter is None else f"shot {shot.counter:,} ({clock})"


def moved_row(item: Moved) -> dict[str, str]:
    """One characteristic as a row: its usual level, the level now, and the way between."""
    return {
        "Characteristic": quantities.label(item.key),
        "Before": _level(item, item.before),
        "Now": _level(item, item.after),
        "Change": _change(item),
        "Seen in": f"{item.shots:,} shot{'' if item.shots == 1 else 's'}",
    }


def gauged_row(item: Moved) -> dict[str, str]:
    """A gauged characteristic as a row: the bound it passed, the worst disc, by how much, and how many."""
    return {
        "Characteristic": quantities.label(item.key),
        "Bound": _level(item, item.before),
        "Worst disc": _level(item, item.after),
        "Outside by": _change(item),
        "Discs": f"{item.shots:,}",
    }


def _level(item: Moved, value: float | None) -> str:
    return "not known" if value is None else quantities.format_value(item.key, value, item.unit)


def _change(item: Moved) -> str:
    if item.before is None or item.after is None:
        return "not known"
    shift = item.after - item.before
    sign = "+" if shift > 0 else "\N{MINUS SIGN}"
    return sign + amount(item.key, abs(shift), item.unit)


def event_row(event: EventLine, local: Local) -> dict[str, str]:
    """One event as a row."""
    what = kind_words(event.kind)
    subject = what if event.key is None else f"{what}: {quantities.label(event.key).lower()}"
    return {"Time": f"{local(event.at):%a %H:%M}", "What": subject, "From and to": from_to(event)}


def step_row(step: StepRow, local: Local) -> dict[str, str]:
    """One step of the alarm as a row."""
    return {
        "Time": f"{local(step.at):%a %H:%M}",
        "Step": step_words(step.event),
        "Who": step.who,
        "Note": step.note or "",
    }
