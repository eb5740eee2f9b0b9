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

from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any

from collector.store.canonical import canonical_json, number, quote
from collector.store.number_texts import written
from collector.store.types import to_micros

FORM = 1
OF_NUMBERS = ("characteristics", "setpoints")
AS_SENT = ("originals", "setpoint_originals")
TIMES = ("ended_at", "received_at")

# The members in the order that the canonical form sorts their names into.
_TEXT = (
    f'{{"counter":%s,"ended_at":%s,"epoch":%s,"form":{FORM},"not_written":%s,"originals":%s,"press":%s,'
    '"received_at":%s,"setpoint_originals":%s,"setpoints":%s,"site":%s,"source":%s,'
    '"time_reconstructed":%s,"values":%s}'
)


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
    columns = {name: [value] for name, value in row.items()}
    for name in TIMES:
        columns[name] = [to_micros(row[name])]
    for name in OF_NUMBERS:
        columns[name] = written([row[name] or {}])[1]
    for name in AS_SENT:
        columns[name] = [canonical_json(row[name] or {})]
    return of_columns(columns)[0]


def of_columns(columns: Mapping[str, Sequence[Any]]) -> list[bytes]:
    """Digests of many rows, given as their columns.

    Parameters
    ----------
    columns : mapping of str to sequence
        Those of `shots`, with `site` and `name` of the press; times in microseconds, and as text in canonical
        form (`collector.store.number_texts`) values, setpoints and what was sent for both.

    Returns
    -------
    list of bytes
        One a row.
    """
    counters = ["null" if each is None else number(each) for each in columns["counter"]]
    not_written = [canonical_json(each) if each else "[]" for each in columns["not_written"]]
    made_up = ["true" if each else "false" for each in columns["time_reconstructed"]]
    texts = zip(
        counters, columns["ended_at"], columns["epoch"], not_written, columns["originals"],
        map(quote, columns["name"]), columns["received_at"], columns["setpoint_originals"],
        columns["setpoints"], map(quote, columns["site"]), map(quote, columns["source"]), made_up,
        columns["characteristics"], strict=True,
    )
    return [sha256((_TEXT % each).encode()).digest() for each in texts]
