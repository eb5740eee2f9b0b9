"""The parts that this process holds: started when a lease is taken, stopped when it is given up or lost."""

from __future__ import annotations

import logging
from collections.abc import Callable

from collector.errors import DeliveryError, StoreUnavailable
from collector.leases.division import FIRST
from collector.leases.keeper import Keeper
from collector.leases.part import Part
from collector.store.leases import Lease

__all__ = ["LOOKS_A_LEASE", "Crew"]

log = logging.getLogger("evenrun.leases")

LOOKS_A_LEASE = 6  # so often a lease is renewed before it could run out
STOP_S = 30.0  # for the batches in hand when the process ends
SOON_S = 1.0  # ... when it goes on; a batch that takes longer is stopped by its fence


class Crew:
    """Keeps the leases of a process and a part at work for each.

    Parameters
    ----------
    keeper : Keeper
    start : callable
        From a lease that was just taken to its part, which is at work.
    """

    def __init__(self, keeper: Keeper, start: Callable[[Lease], Part]) -> None:
        self._keeper = keeper
        self._start = start
        self._parts: dict[str, Part] = {}
        self._said = ""

    def look(self) -> None:
        """One round: renew, stop what was lost, give up, take. To be called several times a lease.

        Raises
        ------
        Exception
            What nobody foresaw and ended a part.
        """
        self._raise_failures()
        self._drop_lost()
        try:
            plan = self._keeper.look()
            self._drop_lost()
            self._tend()
            for lease in plan.give_up[:1]:  # one a round, since the others must not run out meanwhile
                self._give_up(lease)
            for lease in plan.take:
                self._take(lease)
        except StoreUnavailable as error:
            self._say(f"the leases wait: {error}")
            return
        self._say(self._waiting())

    @property
    def at_work(self) -> bool:
        """Whether this process has a part."""
        return bool(self._parts)

    @property
    def has_first(self) -> bool:
        """Whether this process has the part that whatever there may be only one of goes with."""
        return any(each.lease.part == FIRST for each in self.parts())

    def parts(self) -> list[Part]:
        """The parts at work, the first one first."""
        return sorted(self._parts.values(), key=lambda each: each.lease.part)

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int = 1, timeout_s: float = 10.0
    ) -> None:
        """Publish over any of the connections.

        Raises
        ------
        DeliveryError
            There is none, or the broker did not acknowledge.
        """
        for part in self.parts():
            if part.source.connected:
                part.source.publish(topic, payload, retain=retain, qos=qos, timeout_s=timeout_s)
                return
        raise DeliveryError("no connection to the broker")

    def problem(self) -> str | None:
        """What is wrong with a connection, in one sentence; None when all of them stand."""
        problems = [part.problem for part in self.parts()]
        return next((each for each in problems if each is not None), None)

    def protocol(self) -> str:
        """Version of MQTT in use, - before the first connection."""
        return next((part.source.protocol for part in self.parts()), "-")

    def _take(self, lease: Lease) -> None:
        taken = self._keeper.take(lease)
        if taken is None:
            return
        log.info(
            "has the lease %s (part %d of %d)%s", taken.name, taken.part, taken.parts,
            f", which {lease.holder} let run out" if lease.holder else "",
        )  # fmt: skip
        self._parts[taken.name] = self._start(taken)

    def _give_up(self, lease: Lease) -> None:
        part = self._parts.pop(lease.name, None)
        if part is None:
            return  # emptied and removed in this very round
        part.stop(say_offline=False, wait_s=SOON_S)
        self._keeper.give_up(part.lease)
        log.info("gave up the lease %s to another collector", lease.name)

    def _drop_lost(self) -> None:
        """Stop the parts that another collector has by now."""
        for name, part in list(self._parts.items()):
            if part.lost or name not in self._keeper.held:
                log.warning("the lease %s went to another collector", name)
                del self._parts[name]
                self._keeper.held.pop(name, None)
                part.stop(say_offline=False, wait_s=SOON_S)

    def _tend(self) -> None:
        """Note which sessions are ready, and end those of a former division."""
        for name, part in list(self._parts.items()):
            if part.emptied:
                self._keeper.remove(part.lease)
                del self._parts[name]
                log.info("ended the session %s of a former division", name)
            elif not self._keeper.is_wanted(part.lease):
                if self._keeper.all_ready():
                    part.end_session()
            elif part.source.connected and not self._is_ready(name):
                self._keeper.note_ready(part.lease)

    def _is_ready(self, name: str) -> bool:
        return any(each.name == name and each.ready_at is not None for each in self._keeper.rows)

    def _raise_failures(self) -> None:
        for part in self._parts.values():
            if part.failure is not None:
                raise part.failure

    def _waiting(self) -> str:
        """Who has what this process would take over."""
        if self._parts or not self._keeper.rows:
            return ""
        holders = sorted({each.holder for each in self._keeper.rows if each.holder is not None})
        return (
            f"waits: {' and '.join(holders)} collects here, and this one goes on when it stops or has been "
            f"silent for {self._keeper.lasts_s:g} s"
        )

    def _say(self, sentence: str) -> None:
        if sentence and sentence != self._said:
            log.warning("%s", sentence)
        self._said = sentence

    def leave(self) -> None:
        """Finish the batches in hand and let go of everything."""
        for part in self._parts.values():
            part.stop(say_offline=True, wait_s=STOP_S)
        self._parts = {}
        try:
            self._keeper.leave()
        except StoreUnavailable as error:
            log.warning("the leases could not be given up, others have them when they run out: %s", error)
