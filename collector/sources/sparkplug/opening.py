"""From settings to the work of a Sparkplug host."""

from __future__ import annotations

import threading
from collections.abc import Callable
from random import Random

from collector.clock import ServiceClock, wall_now
from collector.pipeline import Read, intake_policy
from collector.settings import Settings
from collector.sources.mqtt_settings import MqttSettings
from collector.sources.sparkplug.host import Host
from collector.sources.sparkplug.topics import node_filter
from collector.sources.sparkplug.work import Reading, SparkplugWork

__all__ = ["open_sparkplug"]


def open_sparkplug(
    settings: Settings,
    clock: ServiceClock,
    *,
    session: MqttSettings,
    random: Random,
    may_connect: Callable[[], bool],
    take: Callable[[list[Read], threading.Event], object],
) -> SparkplugWork:
    """The work for every device in the settings, not started yet.

    Parameters
    ----------
    settings : Settings
    clock : ServiceClock
    session : MqttSettings
        With a client id of its own.
    random : random.Random
    may_connect, take : callable
        See `Host` and `SparkplugWork`.
    """
    devices = settings.sparkplug
    filters = dict.fromkeys(node_filter(each.group, each.edge_node) for each in devices)
    host = Host(
        session, settings.sparkplug_host.host_id, list(filters), wall=wall_now, random=random,
        may_connect=may_connect,
    )  # fmt: skip
    reading = Reading(
        site=settings.site, policy=intake_policy(settings), now=clock.now, wall=wall_now
    )
    return SparkplugWork(host, devices, reading, take=take, reorder_s=settings.sparkplug_host.reorder_s)
