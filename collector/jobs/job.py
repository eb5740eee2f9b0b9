"""A timed job: its name, how often, what it does; and what of the service it may use."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from random import Random
from typing import Literal

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.settings import Settings
from collector.vitals import Vitals

# Missed while no collector ran: one run makes up for all of them, or the result says that they were missed.
WhenMissed = Literal["made up", "declared"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """What a job may use.

    Attributes
    ----------
    engine : sqlalchemy.Engine
        The store.
    settings : Settings
    clock : ServiceClock
        Floor time, and through it wall time.
    random : Random
        For waits that are to be spread.
    vitals : Vitals
        What the process knows of itself, such as what is wrong with its connection to the broker.
    deliver_soon : callable
        Have the outbox looked at now, after a job has put something in it.
    at_work : callable
        Whether this collector has presses; one that only waits to take over has no connection to the broker.
    """

    engine: sa.Engine
    settings: Settings
    clock: ServiceClock
    random: Random
    vitals: Vitals
    deliver_soon: Callable[[], None]
    at_work: Callable[[], bool] = lambda: True

    def wall(self) -> datetime:
        """Real time."""
        return self.clock.wall()


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """Something to do again and again.

    Attributes
    ----------
    name : str
        As people read it on the Service page.
    every_s : float
        Wall seconds from one start to the next. A job that is due by floor time asks the clock itself.
    work : callable
        Does it, and returns one sentence on what came of it, or None when there is nothing to say.
    shared : bool
        Of all the collectors on one store a single one does it in each interval; its result is stored.
        A job that is not shared is the process's own business and runs in each of them, unrecorded.
    of_site : bool
        Shared among the collectors of one site only, since it goes by the settings of that site.
    when_missed : {'made up', 'declared'}
        What is said when no collector ran while it was due.
    longest_s : float
        A run that has not ended after so many wall seconds was cut off by a crash; another may begin.
    """

    name: str
    every_s: float
    work: Callable[[Shop], str | None]
    shared: bool = True
    of_site: bool = False
    when_missed: WhenMissed = "made up"
    longest_s: float = 300.0

    def kept_as(self, site: str) -> str:
        """The name of its result in the store, where several sites may have results of it."""
        return f"{self.name} at {site}" if self.of_site else self.name
