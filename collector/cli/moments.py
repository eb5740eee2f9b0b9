"""How a time is written at a terminal and in a log: in UTC, and with the word.

The screens show the shop's time. A terminal may stand in another zone than the shop, and what it prints is
copied into messages that are read in a third.
"""

from __future__ import annotations

import logging
import time
from datetime import UTC, datetime


def minute(moment: datetime) -> str:
    """``2026-11-24 10:00 UTC``."""
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def second(moment: datetime) -> str:
    """``2026-11-24 10:00:12 UTC``."""
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def day(moment: datetime) -> str:
    """``2026-11-24 UTC``."""
    return f"{moment.astimezone(UTC):%Y-%m-%d} UTC"


def weekday(moment: datetime) -> str:
    """``Friday 22:00 UTC``."""
    return f"{moment.astimezone(UTC):%A %H:%M} UTC"


def log_in_utc(line: str) -> None:
    """Log to standard error from INFO on; ``%(asctime)s`` in the line is the wall's time in UTC."""
    formatter = logging.Formatter(line)
    formatter.converter = time.gmtime
    formatter.default_time_format = "%Y-%m-%d %H:%M:%S"
    formatter.default_msec_format = "%s.%03d UTC"
    handler = logging.StreamHandler()
    handler.setFormatter(formatter)
    logging.basicConfig(level=logging.INFO, handlers=[handler])
