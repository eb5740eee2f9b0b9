"""The service's health in the text format of Prometheus: counters and gauges, named with their units.

Reference: Prometheus text-based exposition format 0.0.4, which the library `prometheus-client` writes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime

from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric

from collector.health import Collector, Health

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


def metrics_text(health: Health, *, read_s: float, wall: datetime) -> bytes:
    """The metrics page.

    Parameters
    ----------
    health : Health
    read_s : float
        How long the store took to tell, in seconds.
    wall : datetime
        Now.
    """
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Once((*_service(health, read_s), *_collectors(health), *_floor(health),
                             *_outbox(health), *_jobs(health, wall))))  # fmt: skip
    return bytes(generate_latest(registry))


class _Once:
    """Hands the library metrics that are made already."""

    def __init__(self, metrics: Iterable[Metric]) -> None:
        self._metrics = tuple(metrics)

    def collect(self) -> Iterator[Metric]:
        yield from self._metrics


def _service(health: Health, read_s: float) -> Iterator[Metric]:
    yield GaugeMetricFamily("evenrun_ok", "1 when the service is well, else 0", value=float(health.ok))
    yield GaugeMetricFamily("evenrun_store_read_seconds", "Time to read this page from the store", read_s)
    yield GaugeMetricFamily(
        "evenrun_refused_24h", "Messages and rows refused in the last 24 h", value=float(health.refused_24h)
    )


def _collectors(health: Health) -> Iterator[Metric]:
    age = _gauge("evenrun_collector_sign_of_life_age_seconds", "Since its last sign of life", "collector")
    connected = _gauge("evenrun_collector_broker_connected", "1 while it is connected", "collector")
    in_hand = _gauge("evenrun_collector_in_hand", "Messages that arrived and are not stored yet", "collector")
    took = CounterMetricFamily(
        "evenrun_messages", "Messages by what became of them", labels=("collector", "outcome")
    )
    batches = CounterMetricFamily("evenrun_batches", "Transactions with shots", labels=("collector",))
    seconds = CounterMetricFamily("evenrun_store_seconds", "Time in them", labels=("collector",))
    for label, one in _labeled(health.collectors).items():
        alive = one.state == "alive"
        age.add_metric((label,), one.age_s)
        connected.add_metric((label,), float(alive and one.detail.get("broker") == "connected"))
        in_hand.add_metric((label,), float(one.detail.get("in_hand", 0)) if alive else 0.0)
        batches.add_metric((label,), float(one.detail.get("batches", 0)))
        seconds.add_metric((label,), float(one.detail.get("store_s", 0.0)))
        for outcome, count in one.detail.get("counts", {}).items():
            took.add_metric((label, outcome), float(count))
    yield from (age, connected, in_hand, took, batches, seconds)


def _labeled(collectors: Iterable[Collector]) -> dict[str, Collector]:
    """Collectors by their computer, so that one that is started again goes on with the same series.

    Where several live on one computer, the second in the order of their starts is named ``shop-pc 2``. Of
    those that ended only the newest is told, and none beside one that lives.
    """
    computers: dict[str, list[Collector]] = {}
    for one in collectors:
        computers.setdefault(one.name.rpartition(":")[0] or one.name, []).append(one)
    labeled: dict[str, Collector] = {}
    for computer, its in computers.items():
        alive = sorted((one for one in its if one.state == "alive"), key=_started)
        for place, one in enumerate(alive or [min(its, key=lambda one: one.age_s)], start=1):
            labeled[computer if place == 1 else f"{computer} {place}"] = one
    return labeled


def _started(one: Collector) -> tuple[str, str]:
    return str(one.detail.get("started_at", "")), one.name


def _floor(health: Health) -> Iterator[Metric]:
    age = _gauge("evenrun_press_age_seconds", "Floor time since its newest shot", "press")
    silent = _gauge("evenrun_press_silent", "1 when it should have made a shot by now", "press")
    lag = _gauge("evenrun_press_lag_seconds", "From the end of its newest shot to its arrival", "press")
    for press in health.presses:
        silent.add_metric((press.name,), float(press.silent))
        if press.age_s is not None:
            age.add_metric((press.name,), press.age_s)
        if press.lag_s is not None:
            lag.add_metric((press.name,), press.lag_s)
    yield from (age, silent, lag)


def _outbox(health: Health) -> Iterator[Metric]:
    waiting = _gauge("evenrun_outbox_waiting", "Messages that wait to be handed over", "channel")
    oldest = _gauge("evenrun_outbox_oldest_age_seconds", "Age of the oldest of them", "channel")
    off = _gauge("evenrun_channel_off", "1 for a channel that is switched off", "channel")
    for one in health.outbox:
        waiting.add_metric((one.channel,), float(one.messages))
        oldest.add_metric((one.channel,), one.age_s)
    for name in health.channels_off:
        off.add_metric((name,), 1.0)
    yield from (waiting, oldest, off)


def _jobs(health: Health, wall: datetime) -> Iterator[Metric]:
    failed = _gauge("evenrun_job_failed", "1 when its last run failed", "job")
    age = _gauge("evenrun_job_age_seconds", "Since it began last", "job")
    took = _gauge("evenrun_job_duration_seconds", "How long its last run took", "job")
    for one in health.jobs:
        failed.add_metric((one.name,), float(one.failed))
        age.add_metric((one.name,), (wall - one.started_at).total_seconds())
        if one.took_s is not None:
            took.add_metric((one.name,), one.took_s)
    yield from (failed, age, took)


def _gauge(name: str, what: str, label: str) -> GaugeMetricFamily:
    return GaugeMetricFamily(name, what, labels=(label,))
