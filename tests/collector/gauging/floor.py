"""A small shop in a store of its own: two presses, trays of four discs, one shot a minute."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa

from collector.gauging.model import NewGauging
from collector.store import presses, runs
from collector.store.shots import NewShot, insert

START = datetime(2026, 11, 20, 6, 0, tzinfo=UTC)
DAY = timedelta(hours=24)


def at(minute: float) -> datetime:
    """A minute of the shop's first day."""
    return START + timedelta(minutes=minute)


def press(conn: sa.Connection, name: str = "P1") -> int:
    """A press, made when it is new."""
    return presses.find_or_add(conn, "lowland", name).id


def run(conn: sa.Connection, press_id: int, name: str = "R1", minute: float = 0) -> int:
    """A run that opens at a minute."""
    return runs.open_run(conn, press_id, name, at=at(minute), opened_by="message", mold="Larch 5").id


def make(
    conn: sa.Connection,
    press_id: int,
    run_id: int,
    minutes: Sequence[int],
    *,
    trays: Sequence[str] = (),
    epoch: int = 0,
    reconstructed: bool = False,
    positions: bool = True,
    first_counter: int | None = None,
) -> list[int]:
    """Shots that end at these minutes, counted by minute; tray after tray of four."""
    new = []
    for i, minute in enumerate(minutes):
        tray = trays[i // 4] if i // 4 < len(trays) else None
        new.append(
            NewShot(
                press_id=press_id, epoch=epoch, run_id=run_id, phase="charted", source="test",
                counter=minute if first_counter is None else first_counter + i,
                ended_at=at(minute), received_at=at(minute), tray=tray, time_reconstructed=reconstructed,
                tray_position=i % 4 + 1 if tray and positions else None, values={"cushion": 5.0 + i / 100},
            )
        )  # fmt: skip
    return insert(conn, new)


def dome(value: float = 2.31, **names: object) -> NewGauging:
    """A dome reading, two days after the start unless told."""
    facts = {"site": "lowland", "characteristic": "dome", "unit": "mm", "gauged_at": START + 2 * DAY} | names
    return NewGauging(value=value, **facts)
