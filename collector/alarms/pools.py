"""Which alarms the signals of one shot may join. Pure.

What is out of service, or on a shelf, grows quietly in an alarm of its own. It must not drag another
characteristic into its silence, nor be told of by an alarm that calls.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from collector.alarms.model import ShotVerdict, SignalFact
from collector.alarms.working import Working

Out = Collection[str | None]  # characteristics out of service; None: the whole press


@dataclass(frozen=True, slots=True)
class Pool:
    """Signals, and the alarms they may join; `out` when what they make is out of service from the start."""

    facts: tuple[SignalFact, ...]
    alarms: tuple[Working, ...]
    out: bool = False


def pools(verdict: ShotVerdict, in_hand: Sequence[Working], out: Out) -> list[Pool]:
    """Part the signals of a shot by what keeps them quiet, if anything does.

    Parameters
    ----------
    verdict : ShotVerdict
    in_hand : sequence of Working
        The press's alarms.
    out : collection of str or None
        What of the press is out of service.

    Returns
    -------
    list of Pool
        Every signal in exactly one of them; those that call, then shelved ones, then those out of service.
    """
    shelved = tuple(alarm for alarm in in_hand if alarm.stage.aside == "shelved")
    away = tuple(alarm for alarm in in_hand if alarm.stage.aside == "out_of_service")
    calling = tuple(alarm for alarm in in_hand if alarm.stage.aside in (None, "suppressed_by_design"))
    asleep = {(alarm.kind, key) for alarm in shelved for key in alarm.moved}
    parted: dict[str, list[SignalFact]] = {"calling": [], "shelved": [], "out": []}
    for fact in verdict.signals:
        is_out = None in out or fact.key in out
        where = "out" if is_out else "shelved" if (fact.alarm_kind, fact.key) in asleep else "calling"
        parted[where].append(fact)
    return [
        Pool(tuple(parted["calling"]), calling),
        Pool(tuple(parted["shelved"]), shelved),
        Pool(tuple(parted["out"]), away, out=True),
    ]
