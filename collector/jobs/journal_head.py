"""Once a day: the new rows are sealed in the journal, and its head goes to the file and to the broker."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract.topics import journal_topic
from collector.errors import UserError
from collector.jobs.job import Job, Shop
from collector.proof import heads, seal
from collector.store import outbox
from collector.store.database import read

LOOK_S = 600.0


def work(shop: Shop) -> str:
    """Seal when it is time, and write into the file what it does not have yet."""
    path = heads.file_of(shop.settings)
    with read(shop.engine) as conn:
        due = seal.is_due(conn, wall=shop.wall())
    if due:
        seal_and_publish(shop.engine, shop.settings.site, shop.clock)
        shop.deliver_soon()
    return f"{'sealed; ' if due else ''}{export(shop.engine, path)} new in {path}"


def seal_and_publish(engine: sa.Engine, site: str, clock: ServiceClock) -> None:
    """Seal, and put the new head into the outbox in the same transaction."""

    def publish(conn: sa.Connection) -> None:
        payload = heads.sealed(conn)[-1].message(site, clock.now()).payload().decode()
        topic = journal_topic(site)
        outbox.add(conn, channel="mqtt", topic=topic, payload=payload, retain=True, wall=clock.wall())

    seal.make(engine, clock=clock, then=publish)


def export(engine: sa.Engine, path: Path) -> int:
    """Lines added to the file; a run that was cut off before it wrote is made up for by the next."""
    written = heads.read(path)[-1].entry if path.exists() and path.stat().st_size else 0
    with read(engine) as conn:
        new = heads.sealed(conn, after=written)
    try:
        heads.append(path, new)
    except OSError as error:
        raise UserError(
            f"the journal's head cannot be written to {path} ({error.strerror}); mend journal.heads_file"
        ) from error
    return len(new)


JOB = Job(name="journal head", every_s=LOOK_S, work=work)
