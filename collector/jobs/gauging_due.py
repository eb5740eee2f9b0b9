"""Every five minutes: how many discs are old enough to be gauged; told when discs on hold come due."""

from __future__ import annotations

from datetime import timedelta

from collector.alarms.message_text import message
from collector.gauging.proposal import Proposal
from collector.jobs.job import Job, Shop
from collector.store import presses, reports
from collector.store.database import read, write
from collector.store.discs_due import due

QUIET_FOR = timedelta(hours=4)  # floor time; discs come due one after the other


def look(shop: Shop) -> str:
    """Count the discs that are due; tell of those on hold, at most every four hours."""
    now = shop.clock.now()
    with read(shop.engine) as conn:
        own = presses.of_site(conn, shop.settings.site)
        ripe = [each for each in due(conn, now) if each.disc.press_id in own]
        last = reports.last_until(conn, shop.settings.site, reports.GAUGING_DUE)
    held = [each for each in ripe if each.hold_id is not None]
    text = f"{_discs(len(ripe))} due for gauging, {len(held)} of them on hold or beside a hold"
    if held and (last is None or now - last >= QUIET_FOR):
        _tell(shop, held, text)
    return text


def _tell(shop: Shop, held: list[Proposal], text: str) -> None:
    now = shop.clock.now()
    holds = sorted({each.hold_id for each in held if each.hold_id is not None})
    body = f"{text}: hold {', '.join(map(str, holds))}. The Gauging page says which disc next."
    to = [one.name for one in shop.settings.channels if "gauging_due" in one.tell]
    with write(shop.engine) as conn:
        new = reports.tell(
            conn, shop.settings.site, reports.GAUGING_DUE, now.isoformat(timespec="minutes"), text=body,
            to=to, payload=message("Discs on hold are due for gauging", body), from_at=now, until_at=now,
            wall=shop.wall(),
        )  # fmt: skip
    if new and to:
        shop.deliver_soon()


def _discs(count: int) -> str:
    return "1 disc is" if count == 1 else f"{count:,} discs are"


JOB = Job(name="gauging due", every_s=300.0, work=look, of_site=True)
