"""What the service should have made of a story, from its truth: faults with the shots they touched, discs
out of tolerance, the perfect observer's hold, and how long the floor was sound. The service never reads it.

The one place where the score asks the stories for their truth.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from simulator.faults import Episode
from simulator.records import SimShot
from simulator.scenarios import Story
from simulator.score_visible import shows
from simulator.truth import Interval, is_touched, out_of_tolerance, perfect_hold

SET_TIME = timedelta(hours=24)
# After the last touched shot the charts may still remember it; what comes then is neither early nor false.
AFTER_SHOTS = 60
MESSAGE_KINDS = frozenset({"counter", "clock", "twice", "late", "lost"})
LONGEST_CYCLE = timedelta(minutes=5)  # a longer pause is no running time


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """One fault as it happened on one press. Shots are named by their true counters.

    Attributes
    ----------
    growth, variant : str
        How it came, and which of its forms.
    first, last : int
        First and last shot it touched.
    out : int
        How many discs it put out of tolerance.
    first_out : int or None
        The first of them.
    gauged_first : datetime or None
        When that one has set and could be gauged.
    shown_by : dict of str to str
        Readings and setpoints that show it, and how; empty where nothing does.
    of_messages : bool
        It only reorders, repeats, renumbers or drops messages: the press is sound, and an alarm of its charts
        is a false one.
    """

    fault: str
    press: str
    growth: str
    variant: str
    first: int
    last: int
    out: int
    first_out: int | None
    gauged_first: datetime | None
    shown_by: dict[str, str]
    of_messages: bool


@dataclass(frozen=True, slots=True)
class Sound:
    """A sound shot: how long it took, days, and a number that only the very same shot has.

    Stories of one seed begin alike, so the same sound shot may be told in several; it counts once.
    """

    days: float
    identity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """The truth of a story.

    Attributes
    ----------
    matters : tuple of Matter
        In the order in which they began.
    ended_at : dict of str to dict of int to datetime
        Of every shot of production, by press and true counter.
    sound : dict of str to dict of int to Sound
        Shots at which an alarm that opens is false, by press and true counter: nothing was wrong there or
        shortly before, and the press was not starting.
    touched : dict of str to frozenset of int
        Shots that a fault touched.
    out : dict of str to frozenset of int
        Discs out of tolerance because of a fault.
    perfect : tuple of Interval
        What a perfect observer would hold.
    """

    matters: tuple[Matter, ...]
    ended_at: dict[str, dict[int, datetime]]
    sound: dict[str, dict[int, Sound]]
    touched: dict[str, frozenset[int]]
    out: dict[str, frozenset[int]]
    perfect: tuple[Interval, ...]


def account(story: Story) -> Account:
    """Take the truth down.

    Parameters
    ----------
    story : Story
        Its records have been read.

    Returns
    -------
    Account
    """
    by_press: dict[str, list[SimShot]] = defaultdict(list)
    for shot in sorted(story.made, key=lambda shot: shot.truth.counter):
        by_press[shot.press].append(shot)
    made = {
        press: [shot for shot in shots if shot.run not in story.qualification]
        for press, shots in by_press.items()
    }
    of_messages = frozenset(episode.fault for episode in story.episodes if _is_of_messages(episode))
    sound = {press: _sound(shots, of_messages) for press, shots in made.items()}
    outside = out_of_tolerance((shot for shots in made.values() for shot in shots), story.tolerance)
    out = {press: [shot for shot in outside if shot.press == press] for press in made}
    matters = (
        _matter(episode, by_press[episode.press], made[episode.press], out[episode.press])
        for episode in story.episodes
        if not episode.ordinary
    )
    return Account(
        matters=tuple(sorted((m for m in matters if m is not None), key=lambda m: (m.press, m.first))),
        ended_at={press: {s.truth.counter: s.truth.ended_at for s in shots} for press, shots in made.items()},
        sound=sound,
        touched={p: frozenset(s.truth.counter for s in shots if is_touched(s)) for p, shots in made.items()},
        out={press: frozenset(s.truth.counter for s in shots) for press, shots in out.items()},
        perfect=tuple(
            interval for shots in made.values() for interval in perfect_hold(shots, story.tolerance)
        ),
    )


def _is_of_messages(episode: Episode) -> bool:
    return episode.case.garble is not None and episode.case.garble.kind in MESSAGE_KINDS


def _sound(shots: Sequence[SimShot], of_messages: frozenset[str]) -> dict[int, Sound]:
    kept, touched_at, before = {}, -AFTER_SHOTS, None
    for number, shot in enumerate(shots):
        if is_touched(shot) and not set(shot.truth.faults) & of_messages:
            touched_at = number
        if number - touched_at >= AFTER_SHOTS and not shot.truth.startup:
            took = shot.truth.ended_at - before if before is not None else timedelta()
            kept[shot.truth.counter] = Sound(min(took, LONGEST_CYCLE) / timedelta(days=1), _identity(shot))
        before = shot.truth.ended_at
    return kept


def _identity(shot: SimShot) -> int:
    said = repr((shot.press, shot.truth.counter, shot.truth.ended_at, sorted(shot.values.items())))
    return int.from_bytes(sha256(said.encode()).digest()[:8])


def _matter(
    episode: Episode, every: Sequence[SimShot], made: Sequence[SimShot], out: Sequence[SimShot]
) -> Matter | None:
    """One episode; None when it touched no shot."""
    mine = [shot for shot in made if episode.fault in shot.truth.faults and _during(episode, shot)]
    if not mine:
        return None
    first, last = mine[0].truth.counter, mine[-1].truth.counter
    bad = [shot for shot in out if first <= shot.truth.counter <= last + AFTER_SHOTS]
    sound = [shot for shot in every if not is_touched(shot) and not shot.truth.startup]
    return Matter(
        fault=episode.fault, press=episode.press, growth=episode.case.growth, variant=episode.case.variant,
        first=first, last=last, out=len(bad), first_out=bad[0].truth.counter if bad else None,
        gauged_first=bad[0].truth.ended_at + SET_TIME if bad else None,
        shown_by=shows(sound, _alone(episode, mine)),
        of_messages=_is_of_messages(episode),
    )  # fmt: skip


def _alone(episode: Episode, mine: Sequence[SimShot]) -> Sequence[SimShot]:
    """Its shots without those that something else touched, too, such as a ring's chance miss."""
    if "ring_miss_rate" in episode.case.health:
        return mine
    return [shot for shot in mine if set(shot.truth.faults) == {episode.fault}] or mine


def _during(episode: Episode, shot: SimShot) -> bool:
    return episode.start <= shot.truth.ended_at <= episode.over + LONGEST_CYCLE
