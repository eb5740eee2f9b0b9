"""From what is known of presses, broker, database and jobs to what is silent. Pure.

Silence is an alarm too: no chart signals while nothing arrives. One that explains others stands for them:
with the broker away nothing is said of presses, and where every press behind a gateway falls silent together,
the gateway is the matter and not each press.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from collector.settings_alarms import Alarms

PRESS, GATEWAY, BROKER, DATABASE, JOB = "press", "gateway", "broker", "database", "job"

# A press that says so makes no shots, and nobody need be called.
STANDING = frozenset({"stopped", "setup", "sleep", "manual"})
OFFLINE = "offline"  # the gateway's last will
OFFLINE_CYCLES = 2.0  # with the last will there is no doubt to wait for
USUAL_CYCLE_S = 60.0  # before a press's own is known
ALL_OTHERS = ""  # the gateway of presses that no gateway is named for
AT_LEAST = 2  # presses that fall silent together point to what they share

Says = Literal["silent", "standing", "heard"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PressFacts:
    """What is known of a press.

    Attributes
    ----------
    id, name
    running : bool
        It has an open run and was heard live, not from files only, so that shots are to be expected.
    state : str or None
        What it, or its gateway, said last of itself.
    usual_cycle_s : float or None
    quiet_s : float
        Floor seconds in which we listened and no shot came.
    heard : bool
        A shot came since we began to listen.
    """

    id: int
    name: str
    running: bool
    state: str | None
    usual_cycle_s: float | None
    quiet_s: float
    heard: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What is to be said of one subject; of a subject without a verdict nothing is known now.

    Attributes
    ----------
    subject : str
        What it is about, such as ``press``, ``gateway:hall`` or ``broker``.
    press_id : int or None
        Whose silence it is; None for what belongs to the service.
    says : {'silent', 'standing', 'heard'}
        Silent; silent because it stands, and says so; or not silent.
    headline : str
        Empty unless silent.
    note : str or None
        Why it is not silent any more, where that is not plain.
    """

    subject: str
    press_id: int | None
    says: Says
    headline: str = ""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFacts:
    """A timed job and for how many wall seconds it is overdue; 0 when it ran in time."""

    name: str
    late_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is known at one moment; `broker_away` says that no shot can arrive."""

    presses: Sequence[PressFacts] = ()
    jobs: Sequence[JobFacts] = ()
    broker_away: bool = False
    settings: Alarms = field(default_factory=Alarms)


def verdicts(facts: Facts) -> list[Verdict]:
    """Judge presses, their gateways and the jobs.

    Parameters
    ----------
    facts : Facts

    Returns
    -------
    list of Verdict
        One a subject at most. Presses are not judged while the broker is away.
    """
    found = [_job(each) for each in facts.jobs]
    if facts.broker_away:
        return found
    for gateway, presses in _by_gateway(facts).items():
        found += _gateway(gateway, presses, facts.settings)
    return found


def connection(
    what: str, where: str, *, away_s: float, problem: str | None, settings: Alarms
) -> Verdict | None:
    """Judge a connection of a collector to its broker or database.

    Parameters
    ----------
    what : str
        ``broker`` or ``database``.
    where : str
        The machine the collector runs on.
    away_s : float
        Wall seconds since it was there last.
    problem : str or None
        What the connection says is wrong.
    settings : Alarms

    Returns
    -------
    Verdict or None
        None while it is too early to tell.
    """
    subject = f"{what}:{where}"
    if problem is None:
        return Verdict(subject=subject, press_id=None, says="heard")
    if away_s < settings.broker_silent_s:
        return None
    # The connection may begin with the same words, which nobody needs twice on a wall or a phone.
    rest = problem.removeprefix(f"no connection to the {what} ")
    headline = f"No connection to the {what} from {where}" + (f": {rest}" if rest == problem else f" {rest}")
    return Verdict(subject=subject, press_id=None, says="silent", headline=headline)


def _by_gateway(facts: Facts) -> Mapping[str, list[PressFacts]]:
    behind = {press: name for name, presses in facts.settings.gateways.items() for press in presses}
    found: dict[str, list[PressFacts]] = {}
    for press in facts.presses:
        found.setdefault(behind.get(press.name, ALL_OTHERS), []).append(press)
    return found


def _gateway(gateway: str, presses: Sequence[PressFacts], settings: Alarms) -> Iterable[Verdict]:
    """Of presses behind one gateway: one verdict for all of them, then one for each."""
    expected = [press for press in presses if press.running and press.state not in STANDING]
    all_quiet = all(_is_quiet(each, settings, together=True) for each in expected)
    together = len(expected) >= AT_LEAST and all_quiet
    subject = f"{GATEWAY}:{gateway}"
    if together:
        names = ", ".join(press.name for press in expected)
        which = f"behind gateway {gateway} " if gateway else ""
        headline = f"All presses {which}are silent: {names}"
        yield Verdict(subject=subject, press_id=None, says="silent", headline=headline)
    elif any(_is_heard(press, settings) for press in expected) or len(expected) < AT_LEAST:
        yield Verdict(subject=subject, press_id=None, says="heard")
    for press in presses:
        verdict = _press(press, settings)
        if together and verdict is not None and verdict.says == "silent":
            note = "all presses of its gateway are silent, which is one matter"
            verdict = Verdict(subject=PRESS, press_id=press.id, says="heard", note=note)
        if verdict is not None:
            yield verdict


def _press(press: PressFacts, settings: Alarms) -> Verdict | None:
    """None while it is too early to tell, as after a start of the collector."""
    if not press.running:
        return Verdict(subject=PRESS, press_id=press.id, says="heard", note="no shot is expected of it now")
    if _is_quiet(press, settings, together=False):
        if press.state in STANDING:
            return Verdict(subject=PRESS, press_id=press.id, says="standing")
        why = "its gateway is offline" if press.state == OFFLINE else "look at the press first"
        headline = f"No shot for {_span(press.quiet_s)}: {why}"
        return Verdict(subject=PRESS, press_id=press.id, says="silent", headline=headline)
    return Verdict(subject=PRESS, press_id=press.id, says="heard") if press.heard else None


def _is_quiet(press: PressFacts, settings: Alarms, *, together: bool) -> bool:
    cycle_s = press.usual_cycle_s or USUAL_CYCLE_S
    if press.state == OFFLINE:
        return press.quiet_s > OFFLINE_CYCLES * cycle_s
    own = settings.silent_cycles_of.get(press.name, settings.silent_cycles)
    cycles = min(own, settings.gateway_cycles) if together else own
    return press.quiet_s > max(cycles * cycle_s, settings.silent_least_s)


def _is_heard(press: PressFacts, settings: Alarms) -> bool:
    return press.heard and not _is_quiet(press, settings, together=True)


def _job(job: JobFacts) -> Verdict:
    subject = f"{JOB}:{job.name}"
    if job.late_s <= 0:
        return Verdict(subject=subject, press_id=None, says="heard")
    headline = f"The job {job.name} is overdue by {_span(job.late_s)}: see the log of the collector"
    return Verdict(subject=subject, press_id=None, says="silent", headline=headline)


def _span(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.0f} h"
