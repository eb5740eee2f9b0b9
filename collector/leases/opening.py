"""From settings to a crew: a part's session, pipeline and fence."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from random import Random

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract.mapping_read import Mappings
from collector.counts import Counts
from collector.leases.crew import Crew
from collector.leases.division import FIRST, names, takes
from collector.leases.keeper import Keeper
from collector.leases.part import Part, Work
from collector.pipeline import Pipeline, engine_policy, intake_policy
from collector.settings import Settings
from collector.sources.mqtt import MqttSource
from collector.sources.mqtt_settings import MqttSettings
from collector.sources.sparkplug.opening import open_sparkplug
from collector.sources.sparkplug.work import SparkplugWork
from collector.store import leases
from collector.store.leases import Lease

__all__ = ["open_crew"]

# Take so many messages until the store has them; False when the event came first.
Take = Callable[[Callable[[], Counts], int, threading.Event], bool]


def open_crew(
    engine: sa.Engine,
    settings: Settings,
    clock: ServiceClock,
    *,
    me: str,
    broker: MqttSettings,
    take: Take,
    random: Random,
) -> Crew:
    """A crew that holds nothing yet.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        An upgraded store, opened under `me` (see :func:`collector.store.leases.url_under`).
    settings : Settings
    clock : ServiceClock
    me : str
        Name of this collector.
    broker : MqttSettings
        With the client id that the leases' names are made of.
    take : callable
        See `Take`; called from the threads of the parts.
    random : random.Random
        For waits between attempts to connect.
    """
    division = names(broker.client_id, settings.leases.parts)
    keeper = Keeper(
        engine, site=settings.site, me=me, wanted=division, lasts_s=settings.leases.lasts_s
    )
    mappings = Mappings(settings.mapping, settings.site)

    def connect(session: MqttSettings) -> MqttSource:
        return MqttSource(session, clock=clock.now, random=random, may_connect=keeper.is_valid)

    def pipeline_of(lease: Lease) -> Pipeline:
        return Pipeline(
            engine, policy=engine_policy(settings), intake=intake_policy(settings), clock=clock,
            guard=lambda conn: leases.check(conn, lease),
        )  # fmt: skip

    def sparkplug(lease: Lease) -> SparkplugWork:
        pipeline = pipeline_of(lease)
        return open_sparkplug(
            settings, clock, session=replace(broker, client_id=f"{lease.name}-sparkplug"), random=random,
            may_connect=keeper.is_valid,
            take=lambda records, stop: take(lambda: pipeline.take_records(records), len(records), stop),
        )  # fmt: skip

    def start(lease: Lease) -> Part:
        pipeline = pipeline_of(lease)
        first = lease.part == FIRST and keeper.is_wanted(lease)
        work = Work(
            settings=replace(broker, client_id=lease.name), connect=connect,
            takes=takes(lease.part, lease.parts, mappings),
            take=lambda batch, stop: take(lambda: pipeline.take(batch), len(batch), stop),
            max_messages=settings.batch_messages, max_wait_s=settings.batch_wait_s,
            beside=sparkplug(lease) if first and settings.sparkplug else None,
        )  # fmt: skip
        part = Part(lease, work)
        part.start()
        return part

    return Crew(keeper, start)
