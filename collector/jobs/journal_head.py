"""Once a day: the new rows are sealed in the journal, and its head goes to the file and to the broker."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from collector.contract.topics import journal_topic
from collector.jobs.job import Job, Shop
from collector.proof import heads, seal
from collector.store import outbox
from collector.store.database import read

LOOK_S = 600.0


def seal_and_export(shop: Shop) -> str:
    """Seal when the last seal is a day old, and write into the file what it does not have yet."""
    with read(shop.engine) as conn:
        due = seal.is_due(conn, wall=shop.wall())
    if due:
        _seal(shop)
        shop.deliver_soon()
    written = export(shop, shop.settings.journal.heads_file)
    return f"{'sealed; ' if due else ''}{written} new in {shop.settings.journal.heads_file}"


def _seal(shop: Shop) -> None:
    site = shop.settings.site

    def publish(conn: sa.Connection) -> None:
        payload = heads.sealed(conn)[-1].message(site, shop.clock.now()).payload().decode()
        outbox.add(
            conn, channel="mqtt", topic=journal_topic(site), payload=payload, retain=True, wall=shop.wall()
        )

    seal.make(shop.engine, clock=shop.clock, then=publish)


def export(shop: Shop, path: Path) -> int:
    """Lines added to the file; a run that was cut off before it wrote is made up for by the next."""
    written = heads.read(path)[-1].entry if path.exists() and path.stat().st_size else 0
    with read(shop.engine) as conn:
        new = heads.sealed(conn, after=written)
    heads.append(path, new)
    return len(new)


JOB = Job(name="journal head", every_s=LOOK_S, work=seal_and_export)
