"""The one door by which gaugings come in, and joining them to the discs they are of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.gauging import age, identity
from collector.gauging.model import Join, NewGauging, Outcome
from collector.store import disc_lookup, gaugings, presses
from collector.store.gaugings import Listed

TRIED_AGAIN = 200  # how many waiting gaugings new shots of a press are tried on, newest first


def record(conn: sa.Connection, new: Sequence[NewGauging], *, now: datetime, source: str) -> list[Outcome]:
    """Store gaugings, each joined to its disc where that has arrived; the same one again changes nothing.

    Parameters
    ----------
    conn : Connection
        A writing one.
    new : sequence of NewGauging
    now : datetime
        Service time of their arrival.
    source : str
        Where they came from: a topic, a file, "form".

    Returns
    -------
    list of Outcome
        One for each, in order.
    """
    identities = [identity.digest(gauging) for gauging in new]
    known = gaugings.stored(conn, identities)
    offsets = gaugings.offsets(conn, {each for gauging in new if (each := _listed(gauging)) is not None})
    outcomes: list[Outcome] = []
    for gauging, key in zip(new, identities, strict=True):
        if key not in known:
            outcomes.append(_store(conn, gauging, key, offsets, now=now, source=source))
            known[key] = outcomes[-1].gauging_id
        else:
            outcomes.append(_duplicate(conn, known[key]))
    return outcomes


def join_waiting(conn: sa.Connection, press_id: int) -> list[Outcome]:
    """Try again to join gaugings that came before their shot; to be called after new shots of a press.

    Returns
    -------
    list of Outcome
        Of those that found their place now.
    """
    outcomes = [_join_again(conn, row) for row in gaugings.waiting(conn, press_id, limit=TRIED_AGAIN)]
    return [outcome for outcome in outcomes if outcome.state != "waiting"]


def shift_order(conn: sa.Connection, asked: Listed, offset: int) -> list[Outcome]:
    """Join a list of gaugings anew, `offset` shots later in the run than it was written.

    Returns
    -------
    list of Outcome
        One for each gauging of the list that was not withdrawn.
    """
    gaugings.set_offset(conn, asked, offset)
    return [_join_again(conn, row) for row in gaugings.of_list(conn, asked)]


def _store(
    conn: sa.Connection,
    gauging: NewGauging,
    key: bytes,
    offsets: Mapping[Listed, int],
    *,
    now: datetime,
    source: str,
) -> Outcome:
    press_id = None
    if gauging.press is not None:
        press_id = presses.find_or_add(conn, gauging.site, gauging.press).id
    listed = _listed(gauging)
    offset = None if listed is None else offsets.get(listed, 0)
    join = disc_lookup.find(conn, gauging, offset=offset or 0)
    row = _named(gauging) | {
        "press_id": press_id, "order_offset": offset, "received_at": now, "source": source, "identity": key,
    }  # fmt: skip
    row |= _joined(join, gauging.gauged_at)
    return _outcome(gaugings.insert(conn, row), gauging.characteristic, join, row["age_h"])


def _listed(gauging: NewGauging) -> Listed | None:
    batch = gauging.order_batch
    return Listed(gauging.site, gauging.run, batch) if batch else None


def _named(gauging: NewGauging) -> dict[str, Any]:
    """The columns that say what was read, and of which disc."""
    same = (
        "site", "characteristic", "value", "unit", "original_value", "original_unit", "gauged_at", "counter",
        "tray", "disc_mark", "order_batch", "order_index", "gauge", "temperature_degc", "definition", "who",
    )  # fmt: skip
    named = {name: getattr(gauging, name) for name in same}
    return named | {"run_name": gauging.run, "tray_position": gauging.position}


def _joined(join: Join, gauged_at: datetime | None) -> dict[str, Any]:
    """The columns that say where a gauging belongs; what was named stays, what was not is filled in."""
    columns: dict[str, Any] = {"joined_by": join.by, "age_h": age.age_h(gauged_at, join.disc)}
    if join.disc is not None:
        return columns | {
            "shot_id": join.disc.shot_id, "press_id": join.disc.press_id, "run_id": join.disc.run_id,
        }  # fmt: skip
    columns["shot_id"] = None
    if join.by is not None:
        columns |= {"press_id": join.press_id, "run_id": join.run_id}
    return columns


def _join_again(conn: sa.Connection, row: sa.RowMapping) -> Outcome:
    gauging = _renamed(row)
    join = disc_lookup.find(conn, gauging, offset=row["order_offset"] or 0)
    columns = _joined(join, gauging.gauged_at)
    gaugings.change(conn, row["id"], columns | {"judged": None})
    return _outcome(row["id"], gauging.characteristic, join, columns["age_h"])


def _renamed(row: sa.RowMapping) -> NewGauging:
    """A stored gauging as it was handed over."""
    names = set(NewGauging.__dataclass_fields__) - {"shot_id", "run", "position", "press"}
    return NewGauging(
        **{name: row[name] for name in names},
        press=row["press"], run=row["run_name"], position=row["tray_position"],
    )  # fmt: skip


def _outcome(gauging_id: int, characteristic: str, join: Join, age_h: float | None) -> Outcome:
    return Outcome(
        gauging_id=gauging_id, state=join.state, shot_id=join.disc.shot_id if join.disc else None,
        age_h=age_h, standing=age.standing(characteristic, age_h), reason=join.reason,
    )  # fmt: skip


def _duplicate(conn: sa.Connection, gauging_id: int) -> Outcome:
    row = gaugings.get(conn, gauging_id)
    assert row is not None  # its identity was found in this transaction
    return Outcome(
        gauging_id=row.id, state="duplicate", shot_id=row.shot_id, age_h=row.age_h,
        standing=age.standing(row.characteristic, row.age_h), reason="this gauging was stored before",
    )  # fmt: skip
