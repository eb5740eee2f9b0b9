"""The digest of a stored shot, and how anybody can recompute it.

The digest is the SHA-256 (FIPS 180-4) of the UTF-8 bytes of one JSON object in the canonical form of
RFC 8785. The object has exactly these members:

====================  =======================================================================
form                  the number 1: this list
site, press           names, from the row of the press
epoch, counter        whole numbers; counter null where the press has none
ended_at              microseconds since 1970 UTC, as the column holds it
received_at           the same for the time of arrival
time_reconstructed    true or false
source                text
values                object, key to number, canonical units: the column `characteristics`
originals             object, key to [number, unit] as sent
setpoints             object, key to number
setpoint_originals    object, key to [number, unit] as sent
not_written           list of keys, in the order of the column
====================  =======================================================================

Left out is what may rightly change later and is journaled where it does: the run and the tray a shot is
counted to, and the verdict of the charts. The id is left out because it is the database's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from collector.store.canonical import canonical_json, number, object_of_numbers, quote
from collector.store.types import to_micros

FORM = 1


def of_row(row: Mapping[str, Any]) -> bytes:
    """Digest of a row of `shots` with the press's `site` and `name` beside it.

    Returns
    -------
    bytes
        32 bytes.

    Raises
    ------
    ValueError
        A value is not a finite number.
    """
    return sha256(_text(row).encode()).digest()


def _text(row: Mapping[str, Any]) -> str:
    """The members in the order that the canonical form sorts their names into, written at once."""
    counter = "null" if row["counter"] is None else number(row["counter"])
    return (
        f'{{"counter":{counter},"ended_at":{to_micros(row["ended_at"])},"epoch":{row["epoch"]},"form":{FORM},'
        f'"not_written":{canonical_json(row["not_written"]) if row["not_written"] else "[]"},'
        f'"originals":{_object(row["originals"])},"press":{quote(row["name"])},'
        f'"received_at":{to_micros(row["received_at"])},'
        f'"setpoint_originals":{_object(row["setpoint_originals"])},'
        f'"setpoints":{_object(row["setpoints"])},"site":{quote(row["site"])},'
        f'"source":{quote(row["source"])},'
        f'"time_reconstructed":{"true" if row["time_reconstructed"] else "false"},'
        f'"values":{object_of_numbers(row["characteristics"])}}}'
    )


def _object(members: Mapping[str, Any] | None) -> str:
    return canonical_json(members) if members else "{}"
