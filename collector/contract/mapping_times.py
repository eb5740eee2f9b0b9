"""Times as foreign messages write them: ISO 8601, seconds or milliseconds of the epoch, local with a zone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import isfinite
from typing import Literal
from zoneinfo import ZoneInfo

from collector.contract.times import from_text, is_left_out

TimeFormat = Literal["iso", "epoch_s", "epoch_ms", "local"]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_PER_SECOND = {"epoch_s": 1.0, "epoch_ms": 1000.0}
_LONGEST = 100


def read_time(
    value: object, form: TimeFormat, zone: str | None, pattern: str | None, *, now: datetime
) -> datetime:
    """Read a time that stands in a message.

    Parameters
    ----------
    value : object
        A JSON value: text, or a number for the epoch formats.
    form : {'iso', 'epoch_s', 'epoch_ms', 'local'}
        How it is written; epoch numbers count from 1970-01-01 UTC.
    zone : str or None
        IANA name of the zone of a text without one.
    pattern : str or None
        For ``local``: the format as `datetime.strptime` takes it; None: year, month and day in ISO order.
    now : datetime
        When the message is read, aware: the time in it lies near.

    Returns
    -------
    datetime
        Aware, UTC. Of a local time that comes twice when clocks are set back, the one that is now.

    Raises
    ------
    ValueError
        With what the value is not, as the second half of a sentence.
    """
    if form in _PER_SECOND:
        return _from_epoch(value, _PER_SECOND[form])
    if type(value) is not str or len(value) > _LONGEST:
        raise ValueError("is no time in quotes")
    try:
        if form == "iso" and zone is None:
            return from_text(value.strip())
        return _placed(_written(value.strip(), pattern), zone, now)
    except OverflowError:
        raise ValueError("is out of the range of times") from None
    except _NotOne as error:
        raise ValueError(f"is a time that clocks in {zone} {error}") from None
    except ValueError:
        raise ValueError(_what_it_is_not(form, zone, pattern)) from None


class _NotOne(ValueError):
    """A local time that is no moment, or two."""


def _from_epoch(value: object, per_second: float) -> datetime:
    if type(value) is str and len(value) <= _LONGEST:
        try:
            value = float(value)
        except ValueError:
            value = None
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise ValueError("is no number of seconds or milliseconds since 1970")
    try:
        seconds = value / per_second
        if not isfinite(seconds):
            raise OverflowError
        return _EPOCH + timedelta(seconds=seconds)
    except OverflowError:
        raise ValueError("is out of the range of times") from None


def _written(text: str, pattern: str | None) -> datetime:
    """The time as it is written, mostly without a zone."""
    if pattern is None:
        return datetime.fromisoformat(text)
    return datetime.strptime(text, pattern)  # noqa: DTZ007 - it gets its zone next


def _placed(written: datetime, zone: str | None, now: datetime) -> datetime:
    if written.tzinfo is not None:
        return written.astimezone(UTC)
    if zone is None:
        raise ValueError("no zone")
    local = written.replace(tzinfo=ZoneInfo(zone))
    if is_left_out(local):
        raise _NotOne("leave out")
    first, second = local.astimezone(UTC), local.replace(fold=1).astimezone(UTC)  # PEP 495
    nearest = min((first, second), key=lambda moment: abs(now - moment))
    if first != second and abs(now - nearest) > (second - first) / 2:
        raise _NotOne("show twice, and it came too late to tell which is meant; send UTC or its offset")
    return nearest


def _what_it_is_not(form: TimeFormat, zone: str | None, pattern: str | None) -> str:
    if form == "iso" and zone is None:
        return "is no ISO 8601 time with its zone, such as 2026-11-24T10:00:00Z"
    if pattern is None:
        return "is no ISO 8601 time, such as 2026-11-24T10:00:00"
    return f"is no time of the pattern {pattern!r}"
