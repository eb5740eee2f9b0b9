"""Column types that behave the same on SQLite and PostgreSQL."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import BigInteger, Integer, types
from sqlalchemy.dialects import postgresql
from sqlalchemy.engine import Dialect
from sqlalchemy.types import JSON

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)

# SQLite counts rows by itself only for a column that is exactly INTEGER.
BigId = BigInteger().with_variant(Integer, "sqlite")
# Nothing is stored as the database's own NULL, not as the JSON word null, so that IS NULL finds it.
Json = JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql")


def to_micros(moment: datetime) -> int:
    """Microseconds since 1970 UTC, exact (a float would lose the last digit)."""
    return (moment - EPOCH) // MICROSECOND


def from_micros(micros: int) -> datetime:
    """The aware UTC time of a number of microseconds since 1970."""
    return EPOCH + MICROSECOND * micros

# Kept as the text it was written as: fetched in half the time and in a fifth less room than JSONB (measured),
# and nothing of a shot is ever searched by its content. `->>` reads it all the same.
JsonText = JSON(none_as_null=True)


class UtcTime(types.TypeDecorator[datetime]):
    """An aware UTC time, stored as whole microseconds since 1970 in an eight-byte integer.

    One form on both databases, exact, half the bytes of a text, and numpy reads it as
    ``datetime64[us]`` without parsing. Plain SQL reads it with
    ``datetime(ended_at / 1000000, 'unixepoch')`` or ``to_timestamp(ended_at / 1e6)``.
    """

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> int | None:  # noqa: ARG002
        """Refuse a time without a zone: it would silently be read as UTC."""
        if value is None:
            return None
        if isinstance(value, int):
            return value
        if value.tzinfo is None:
            raise ValueError(f"a stored time needs a time zone, {value!r} has none")
        return to_micros(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Give an aware UTC time back."""
        return None if value is None else from_micros(int(value))
