"""One case: a floor, a fault that is put in while shots arrive, and what the store holds in the end."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from pathlib import Path
from random import Random

from collector.store import database
from simulator.records import SimShot
from tests.faults.faults import SAVED_S, Fault
from tests.faults.floor import Floor, Size, messages_of, story
from tests.faults.truth import Found, compare, differences


@dataclass(frozen=True)
class Outcome:
    """What a case showed.

    Attributes
    ----------
    injected : int
        Faults put in, or disturbances of messages.
    sent : int
        Different shots.
    lost : int
        Shots that are not in the store, though the broker had acknowledged and saved them, or that are
        missing without a gap of the counter that says so.
    in_gaps : int
        Shots that a killed broker had not saved; each within a gap that the service lists.
    doubled, bent, refused : int
        Rows too many, shots with other values, messages still refused at the end.
    wrong_signals : list of str
        Where stream and whole-array form differ.
    signals : int
        How many agree.
    said : bool
        Whether the log told of the fault in the words it must have.
    took_s : float
    """

    injected: int
    sent: int
    lost: int
    in_gaps: int
    doubled: int
    bent: int
    refused: int
    wrong_signals: list[str]
    signals: int
    said: bool
    took_s: float

    def mistakes(self) -> list[str]:
        """What must not be, in words; empty when all is well."""
        counts = {
            "lost": self.lost, "doubled": self.doubled, "bent": self.bent, "refused": self.refused,
            "signals that differ": len(self.wrong_signals),
        }
        found = [f"{count} {name}" for name, count in counts.items() if count]
        found += [] if self.signals else ["no signal was compared"]
        found += [] if self.injected else ["no fault was put in"]
        return found + ([] if self.said else ["the log did not tell of the fault"])


def run_case(
    fault: Fault, kind: str, *, seed: int, size: Size, cluster_url: str | None, folder: Path
) -> Outcome:
    """Run one fault on one database.

    Parameters
    ----------
    fault : Fault
    kind : {'sqlite', 'postgresql'}
    seed : int
        Of the story and of every moment.
    size : Size
    cluster_url : str or None
        Of a PostgreSQL cluster that this case may stop and start.
    folder : Path
        An empty folder.
    """
    began, random = time.monotonic(), Random(seed)
    records = story(seed, size.shots)
    messages, disturbed = messages_of(records), 0
    if fault.disturb is not None:
        messages, disturbed = fault.disturb(messages, random)
    with Floor(folder, kind, cluster_url) as floor:
        floor.sent = [record for record in records if isinstance(record, SimShot)]
        floor.numbered = {n: each for n, each in enumerate(records) if isinstance(each, SimShot)}
        times = size.times if fault.inject else 0
        publisher = threading.Thread(
            target=floor.publish, args=(messages, size.rate_per_s, times), daemon=True
        )
        publisher.start()
        for _ in range(times):
            _put_in(fault, floor, random, size)
        publisher.join(300)
        assert floor.published.is_set(), "the gateways could not publish everything"
        if fault.after is not None:
            time.sleep(1.0)
            fault.after(floor)
        floor.settle(len(floor.sent))
        log = (folder / "collector.log").read_text(errors="replace")
        said = not fault.says or any(words in log for words in fault.says)
        assert floor.collector.stop() == 0
        with database.read(floor.engine) as conn:
            found = compare(conn, floor.sent)
            wrong, agree = differences(conn)
        lost = _lost(fault, floor, found)
    return Outcome(
        injected=times or disturbed, sent=len(floor.sent),
        lost=len(lost), in_gaps=len(found.missing) - len(lost), doubled=found.doubled, bent=found.bent,
        refused=found.refused, wrong_signals=wrong, signals=agree, said=said,
        took_s=time.monotonic() - began,
    )


def _put_in(fault: Fault, floor: Floor, random: Random, size: Size) -> None:
    """Put the fault in at a random moment of its part of the messages; wait until shots are stored again."""
    assert fault.inject is not None, "a fault that only disturbs messages is put in by them"
    part_s = len(floor.sent) / size.rate_per_s / (size.times + 1)
    time.sleep(random.uniform(0.0, 0.6) * part_s)
    fault.inject(floor, random)
    floor.faults_over += 1
    floor.wait_for_progress()


def _lost(fault: Fault, floor: Floor, found: Found) -> set[tuple[str, int]]:
    """Missing shots that may not be missing."""
    if not fault.loses:
        return set(found.missing)
    return set(found.unnoticed) | (_saved(floor) & found.missing)


def _saved(floor: Floor) -> set[tuple[str, int]]:
    """Shots that the broker had acknowledged long enough before each of its ends, or after the last.

    An acknowledgement may be read a moment after the end of who sent it, but not after the next start.
    """
    return {
        (shot.press, shot.counter)
        for number, shot in floor.numbered.items()
        if all(
            not ended - SAVED_S < floor.gateways.acknowledged[number] <= started
            for ended, started in floor.broker_away
        )
    }
