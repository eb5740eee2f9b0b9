"""What the engine remembers of a press between two shots; goes to the store with every transaction."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from collector import sense
from collector.data_checks import signals as data_checks
from collector.data_checks.look import Known
from collector.errors import StoreError
from collector.identity import Last
from collector.plan import KeyLimits
from collector.press_clock import NOT_HEARD, PressClock
from collector.sense import Sense
from collector.store.types import from_micros, to_micros

VERSION = 1
CYCLES_KEPT = 31  # cycle times that the usual one is the median of


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyState:
    """One characteristic: the limits in force with their chart states, or the values that will make them.

    Attributes
    ----------
    limits : KeyLimits or None
        None while the baseline is being collected.
    states : tuple
        One state a chart of `limits`, in the same order.
    collected : tuple of float
        Steady values so far, while there are no limits.
    """

    limits: KeyLimits | None = None
    states: tuple[Any, ...] = ()
    collected: tuple[float, ...] = ()

    def restarted(self) -> KeyState:
        """The same limits with charts that start anew."""
        if self.limits is None:
            return self
        return replace(self, states=tuple(chart.start() for chart in self.limits.charts))


def under(limits: KeyLimits) -> KeyState:
    """A characteristic that starts under these limits."""
    return KeyState(limits=limits).restarted()


@dataclass(frozen=True, slots=True, kw_only=True)
class PressState:
    """Everything the engine needs to judge the next shot of a press.

    Attributes
    ----------
    last : Last or None
        Identity of the newest shot.
    run_id, context, recipe
        The open run, the context its limits belong to, and the allowed setpoints of its recipe
        (``{key: {"setpoint": 36.0, "allowed": 0.5}}``).
    tray, tray_next
        The tray that discs go to by the last tray message, and the next position in it.
    setpoints : mapping of str to float
        Value in force of every reported setpoint; moves only when a change exceeds its tolerance.
    setpoint_times : mapping of str to int
        Since when, microseconds since 1970, so that a message that comes again changes nothing back.
    fresh : bool
        No shot of the open run was judged yet: setpoints that differ are its setup, not a change.
    sense : Sense
        What is known of the values that setpoints drive.
    clock : PressClock
        What is known of the press's clock.
    data : mapping of str to Known
        What each value usually is, and whether it is in doubt; outlives runs.
    trial : bool
        The open run is made to learn what settings do: nothing is charted or compared.
    told_run : str or None
        The run that the press named last, itself; a run that a person opened takes its shots over.
    startup_done : int
        Startup shots since the last start or stop.
    charting : bool
        The press was found steady.
    recent, shares
        Last values of each characteristic and largest shares, only while starting up.
    keys : mapping of str to KeyState
    cycles_s : tuple of float
        The last cycle times, for the usual one.
    charts_since_shot_id : int or None
        First shot since all charts last started anew.
    events_waiting : bool
        Events are stored that no shot has followed yet.
    """

    last: Last | None = None
    run_id: int | None = None
    context: str = ""
    recipe: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    tray: str | None = None
    tray_next: int | None = None
    setpoints: Mapping[str, float] = field(default_factory=dict)
    setpoint_times: Mapping[str, int] = field(default_factory=dict)
    fresh: bool = False
    sense: Sense = sense.NOTHING
    clock: PressClock = NOT_HEARD
    data: Mapping[str, Known] = field(default_factory=dict)
    trial: bool = False
    told_run: str | None = None
    startup_done: int = 0
    charting: bool = False
    recent: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    shares: tuple[float, ...] = ()
    keys: Mapping[str, KeyState] = field(default_factory=dict)
    cycles_s: tuple[float, ...] = ()
    charts_since_shot_id: int | None = None
    events_waiting: bool = False

    def starting(self) -> PressState:
        """The state after a start or a stop: startup shots lie ahead, charts wait."""
        return replace(self, startup_done=0, charting=False, recent={}, shares=())

    def restarted(self, key: str | None = None) -> PressState:
        """The state with charts that start anew: one characteristic's, or all.

        What is usual of one that is named is learned anew as well: somebody says that it is so from now on.
        """
        keys = {
            name: each.restarted() if key in (None, name) else each for name, each in self.keys.items()
        }
        data = {name: each for name, each in self.data.items() if name != key}
        return replace(self, keys=keys, data=data)

    def usual_cycle_s(self) -> float | None:
        """Median of the last cycle times, None before there are any."""
        if not self.cycles_s:
            return None
        return sorted(self.cycles_s)[len(self.cycles_s) // 2]


def dump(state: PressState) -> dict[str, Any]:
    """The state as JSON; limits are named by the id of their row."""
    last = state.last
    return {
        "version": VERSION,
        "last": None if last is None else [last.epoch, last.counter, to_micros(last.ended_at)],
        "run_id": state.run_id,
        "context": state.context,
        "recipe": {key: dict(allowed) for key, allowed in state.recipe.items()},
        "tray": state.tray,
        "tray_next": state.tray_next,
        "setpoints": dict(state.setpoints),
        "setpoint_times": dict(state.setpoint_times),
        "fresh": state.fresh,
        "sense": sense.dump(state.sense),
        "clock": [list(state.clock.lags_s), state.clock.behind_s, state.clock.told_s],
        "data": data_checks.dump(state.data),
        "trial": state.trial,
        "told_run": state.told_run,
        "startup_done": state.startup_done,
        "charting": state.charting,
        "recent": {key: list(values) for key, values in state.recent.items()},
        "shares": list(state.shares),
        "keys": {key: _dump_key(each) for key, each in state.keys.items()},
        "cycles_s": list(state.cycles_s),
        "charts_since_shot_id": state.charts_since_shot_id,
        "events_waiting": state.events_waiting,
    }


def _dump_key(each: KeyState) -> dict[str, Any]:
    if each.limits is None:
        return {"collected": list(each.collected)}
    assert each.limits.id is not None, "limits are stored before the state that names them"
    pairs = zip(each.limits.charts, each.states, strict=True)
    return {"limits_id": each.limits.id, "states": [chart.dump_state(s) for chart, s in pairs]}


def load(stored: Mapping[str, Any], limits_by_id: Callable[[int], KeyLimits]) -> PressState:
    """Rebuild what :func:`dump` wrote.

    Parameters
    ----------
    stored : mapping
        The JSON object.
    limits_by_id : callable
        Gives the limits of a row id.

    Raises
    ------
    StoreError
        If a newer version of evenrun wrote it. No message of the press can be judged then, so the collector
        stops and leaves them to the broker instead of refusing each.
    """
    if stored["version"] > VERSION:
        raise StoreError(
            f"the stored press state has version {stored['version']}, this evenrun knows {VERSION}; "
            "run the evenrun that wrote it, or a newer one"
        )
    last = stored["last"]
    return PressState(
        last=None if last is None else Last(last[0], last[1], from_micros(last[2])),
        run_id=stored["run_id"],
        context=stored["context"],
        recipe=stored["recipe"],
        tray=stored["tray"],
        tray_next=stored["tray_next"],
        setpoints=stored["setpoints"],
        # The first version wrote none of these.
        setpoint_times=stored.get("setpoint_times", {}),
        fresh=stored.get("fresh", False),
        sense=sense.load(stored.get("sense")),
        clock=_load_clock(stored.get("clock")),
        data=data_checks.load(stored.get("data", {})),
        trial=stored.get("trial", False),
        told_run=stored.get("told_run"),
        startup_done=stored["startup_done"],
        charting=stored["charting"],
        recent={key: tuple(values) for key, values in stored["recent"].items()},
        shares=tuple(stored["shares"]),
        keys={key: _load_key(each, limits_by_id) for key, each in stored["keys"].items()},
        cycles_s=tuple(stored["cycles_s"]),
        charts_since_shot_id=stored["charts_since_shot_id"],
        events_waiting=stored["events_waiting"],
    )


def _load_clock(stored: Sequence[Any] | None) -> PressClock:
    if stored is None:
        return NOT_HEARD
    lags_s, behind_s, told_s = stored
    return PressClock(tuple(lags_s), behind_s, told_s)


def _load_key(stored: Mapping[str, Any], limits_by_id: Callable[[int], KeyLimits]) -> KeyState:
    if "limits_id" not in stored:
        return KeyState(collected=tuple(stored["collected"]))
    limits = limits_by_id(stored["limits_id"])
    pairs = zip(limits.charts, stored["states"], strict=True)
    return KeyState(limits=limits, states=tuple(chart.load_state(s) for chart, s in pairs))


def advanced(last: Last | None, *, epoch: int, counter: int | None, ended_at: datetime) -> Last:
    """The newest shot after one more; time never runs backward, counters may be absent."""
    if last is not None and ended_at < last.ended_at:
        ended_at = last.ended_at
    return Last(epoch, counter, ended_at)
