"""Every few seconds, in each collector: whether its broker and its database answer."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable
from weakref import WeakKeyDictionary

import sqlalchemy as sa

from collector.alarms.ears import Ears
from collector.alarms.silence import BROKER, DATABASE, Verdict, connection
from collector.alarms.silence_apply import apply
from collector.clock import Moment
from collector.errors import StoreUnavailable
from collector.jobs.job import Job, Shop
from collector.store.database import read

_ears: WeakKeyDictionary[sa.Engine, Ears] = WeakKeyDictionary()


def look(shop: Shop, *, monotonic: Callable[[], float] = time.monotonic, host: str | None = None) -> None:
    """Judge both connections. That the database was away can be written down only when it is back."""
    if not shop.at_work():
        return
    ears, at_s, host = _ears.setdefault(shop.engine, Ears()), monotonic(), host or socket.gethostname()
    problem = _store_problem(shop)
    was_away_s = ears.away_s(DATABASE, problem, at_s=at_s)
    broken = shop.vitals.broker()
    away_s = ears.away_s(BROKER, broken, at_s=at_s)
    if problem is not None:
        return
    past = f"it was away for {was_away_s:.0f} s, and shots waited for it"
    told = [
        _judged(shop, BROKER, host, away_s, broken),
        _judged(shop, DATABASE, host, was_away_s, past if was_away_s else None),
        _judged(shop, DATABASE, host, 0.0, None),
    ]
    moment = Moment(shop.clock.now(), shop.wall())
    # One after the other: that it was away is an alarm, which the next line lets return to normal.
    for verdict in filter(None, told):
        if apply(shop.engine, [verdict], site=shop.settings.site, moment=moment):
            shop.deliver_soon()


def _judged(shop: Shop, what: str, host: str, away_s: float, problem: str | None) -> Verdict | None:
    return connection(what, host, away_s=away_s, problem=problem, settings=shop.settings.alarms)


def _store_problem(shop: Shop) -> str | None:
    """What the pipeline was told when it wrote last, or what reading says now."""
    try:
        with read(shop.engine) as conn:
            conn.execute(sa.select(sa.literal(1)))
    except StoreUnavailable as error:
        return str(error)
    return shop.vitals.store_problem


JOB = Job(name="connections", every_s=5.0, work=look, shared=False)
