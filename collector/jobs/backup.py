"""Every so many hours, as the setting says: a copy of the whole store."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from collector.jobs.job import Job, Shop
from collector.keeping import backup as backups

LOOK_S = 900.0


def back_up(shop: Shop) -> str:
    """Make a copy when the newest one is old enough; the wall clock decides, disks know no other."""
    chosen = shop.settings.backup
    if chosen.folder is None:
        return "no backup.folder is set, so nothing is backed up by itself"
    newest = newest_at(chosen.folder, until=shop.wall())
    if newest is not None and shop.wall() < newest + timedelta(hours=chosen.every_h):
        return f"the newest copy is of {newest:%Y-%m-%d %H:%M} UTC"
    made = backups.backup(shop.engine, chosen.folder, wall=shop.wall(), keep=chosen.keep)
    return f"copied to {made}"


def newest_at(folder: Path, *, until: datetime) -> datetime | None:
    """When the newest copy in a folder was made; one of the future is from before the clock was set back."""
    made = [datetime.fromisoformat(backups.note_of(copy).made_at) for copy in backups.copies(folder)]
    return max((at for at in made if at <= until), default=None)


JOB = Job(name="backup", every_s=LOOK_S, work=back_up, longest_s=3_600.0)
