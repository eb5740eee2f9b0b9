"""`evenrun collect`: the collector as a process."""

from __future__ import annotations

import logging

from collector.cli.moments import log_in_utc
from collector.service import collect_forever
from collector.settings import load_settings
from collector.store.database_url import shown

log = logging.getLogger("evenrun.collector")


def collect() -> None:
    """Take shots from the MQTT broker, chart them, raise alarms; stop with Ctrl-C.

    Reads its settings from evenrun.toml in this folder and from the environment
    (EVENRUN_DATABASE_URL, EVENRUN_BROKER__HOST, ...; the README lists them). The store is brought up to
    date first. Messages are acknowledged only after they are stored, so the collector may be stopped or
    killed at any time: the broker hands over again what was not stored.
    """
    log_in_utc("%(asctime)s %(name)s %(message)s")
    for chatty in ("apscheduler", "alembic", "amqtt"):
        logging.getLogger(chatty).setLevel(logging.WARNING)
    settings = load_settings()
    log.info(
        "takes shots from the broker at %s:%d into %s",
        settings.broker.host, settings.broker.port, shown(settings.database_url),
    )
    collect_forever(settings)
