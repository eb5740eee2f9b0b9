"""The collector as a process: source, pipeline, delivery, sign of life."""

from __future__ import annotations

import logging
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from random import Random
from types import FrameType

import sqlalchemy as sa

from collector.alarms.channels.log import LogChannel
from collector.alarms.channels.mqtt import MqttChannel
from collector.alarms.channels.people import PeopleChannel
from collector.alarms.delivering import Delivery
from collector.alarms.notifying import tell_people
from collector.clock import ServiceClock, real_clock, wall_now
from collector.contract.figures import counted
from collector.contract.mapping_read import Mappings
from collector.counts import Counts
from collector.errors import StoreUnavailable
from collector.jobs import JOBS, heartbeat
from collector.jobs import runner as job_runner
from collector.jobs.job import Shop
from collector.leases.crew import LOOKS_A_LEASE
from collector.leases.keeper import new_name
from collector.leases.opening import open_crew
from collector.settings import Settings
from collector.settings_tls import BrokerTls
from collector.sources.mqtt_settings import MqttSettings, back_off_s
from collector.sources.mqtt_tls import TlsFiles
from collector.store import clock as stored_clock
from collector.store import database, refusals
from collector.store.leases import url_under
from collector.store_start import when_there
from collector.vitals import Vitals
from collector.watching import open_watches, watching
from collector.web import health_routes, serving

log = logging.getLogger("evenrun.collector")

NOTICE_S = 1.0


def collect_forever(settings: Settings) -> None:
    """Collect until SIGINT or SIGTERM; the batch in hand is finished first."""
    stop = threading.Event()
    with stopping_on_signals(stop):
        collect(settings, stop=stop)


def collect(settings: Settings, *, stop: threading.Event) -> None:
    """Collect until `stop` is set.

    Parameters
    ----------
    settings : Settings
    stop : threading.Event
        Set it from another thread or a signal handler.
    """
    random = Random()  # noqa: S311 - jitter, no secret
    me = new_name()
    engine = database.open_engine(url_under(settings.database_url, me))
    broker = mqtt_settings(settings)
    clock = when_there(lambda: _brought_up(engine), back_off=broker, stop=stop, random=random)
    if clock is None:
        engine.dispose()
        return
    notice = RefusalNotice(engine)

    def take(work: Callable[[], Counts], size: int, until: threading.Event) -> bool:
        counts = take_until_stored(
            work, size, back_off=broker, stop=until, random=random, vitals=vitals
        )
        if counts is None:
            return False
        notice.add(counts.refused)
        soon()
        return True

    def soon() -> None:
        if crew.at_work:  # one that waits to take over has no connection to send on
            delivery.soon()

    watches = open_watches(engine, settings, clock)
    crew = open_crew(engine, settings, clock, me=me, broker=broker, take=take, random=random)
    vitals = Vitals(
        wall_now(), broker=crew.problem, protocol=crew.protocol,
        in_hand=lambda: sum(part.source.in_hand for part in crew.parts()),
        folders=lambda: [said for each in watches for said in each.troubles()],
    )  # fmt: skip
    delivery = Delivery(
        engine, {"mqtt": MqttChannel(crew.publish), "log": LogChannel()}, people_channels(settings),
        tell_people=lambda: tell_people(engine, settings, clock), clock=clock, random=random,
    )  # fmt: skip
    shop = Shop(
        engine=engine, settings=settings, clock=clock, random=random, deliver_soon=soon,
        vitals=vitals, at_work=lambda: crew.at_work,
    )  # fmt: skip
    web = serving(
        settings.collector.http_host, settings.collector.http_port,
        health_routes(
            lambda: engine, lambda: settings, lambda: clock,
            own_problem=lambda: vitals.store_problem or vitals.sign_problem,
        ),
    )  # fmt: skip
    folders = watching(watches, imported=soon, may_look=lambda: crew.has_first)
    delivery.start()
    scheduler = job_runner.start(JOBS, shop)
    try:
        with folders, web:
            while not stop.is_set():
                crew.look()
                notice.say_if_due()
                stop.wait(settings.leases.lasts_s / LOOKS_A_LEASE)
    finally:
        scheduler.shutdown(wait=False)
        crew.leave()
        delivery.stop()
        heartbeat.stop(shop)
        engine.dispose()


def _brought_up(engine: sa.Engine) -> ServiceClock:
    database.upgrade(engine)
    return service_clock(engine)


def take_until_stored(
    take: Callable[[], Counts],
    size: int,
    *,
    back_off: MqttSettings,
    stop: threading.Event,
    random: Random,
    vitals: Vitals,
) -> Counts | None:
    """Try to take a batch of `size` messages until the store takes it.

    MQTT sends an unacknowledged message again only after a reconnect, so the batch stays in memory; the
    source stops reading when too much is in hand, and the broker waits.

    Returns
    -------
    Counts or None
        None when `stop` came first: nothing was acknowledged, and the broker will send it all again.
    """
    attempt = 0
    while not stop.is_set():
        began = time.monotonic()
        try:
            counts = take()
        except StoreUnavailable as error:
            vitals.store_problem = str(error)
            attempt += 1
            wait_s = back_off_s(attempt, back_off, random)
            log.warning("%s; %d messages wait, next try in %.1f s", error, size, wait_s)
            stop.wait(wait_s)
        else:
            vitals.took(counts, time.monotonic() - began)
            return counts
    return None


def people_channels(settings: Settings) -> dict[str, PeopleChannel]:
    """The channels to people that the settings name."""
    return {
        one.name: PeopleChannel(one.name, one.address, timeout_s=one.timeout_s) for one in settings.channels
    }


class RefusalNotice:
    """One warning line for refused messages, at most one a second."""

    def __init__(self, engine: sa.Engine, *, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._engine = engine
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._waiting = 0
        self._said_at = -NOTICE_S

    def add(self, refused: int) -> None:
        """Count refused messages that no line has told of yet; from any thread."""
        with self._lock:
            self._waiting += refused

    def say_if_due(self) -> None:
        """Write the line, unless there is nothing to say or the last one is too young."""
        if not self._waiting or self._monotonic() - self._said_at < NOTICE_S:
            return
        try:
            with database.read(self._engine) as conn:
                newest = refusals.kept(conn, state=None, last=1)
        except StoreUnavailable:
            return  # said with the next batch; the messages are kept
        what = newest[0].detail if newest else "kept before"
        with self._lock:
            count, self._waiting = self._waiting, 0
        log.warning(
            "refused %s, the last: %s; `evenrun refused` lists them", counted(count, "message"), what
        )
        self._said_at = self._monotonic()


def service_clock(engine: sa.Engine) -> ServiceClock:
    """The service's clock as the store knows it; the wall clock where it knows none."""
    with database.read(engine) as conn:
        return stored_clock.load(conn) or real_clock()


def mqtt_settings(settings: Settings) -> MqttSettings:
    """The source's settings from the service's."""
    broker = settings.broker
    return MqttSettings(
        site=settings.site, host=broker.host, port=broker.port, user=broker.user, password=broker.secret(),
        client_id=broker.client_id, receive_maximum=broker.receive_maximum,
        session_expiry_s=broker.session_expiry_s, tls=_tls(broker.tls),
        also=Mappings(settings.mapping, settings.site).filters(),
    )


def _tls(files: BrokerTls) -> TlsFiles | None:
    if files.ca_file is None:
        return None
    return TlsFiles(
        ca_file=files.ca_file, certificate_file=files.certificate_file, key_file=files.key_file
    ).checked()


@contextmanager
def stopping_on_signals(stop: threading.Event) -> Iterator[None]:
    """Set `stop` on SIGINT or SIGTERM while the block runs."""

    def on_signal(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    numbers = (signal.SIGINT, signal.SIGTERM)
    before: list[Callable[[int, FrameType | None], object] | int | None] = [
        signal.signal(number, on_signal) for number in numbers
    ]
    try:
        yield
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)
