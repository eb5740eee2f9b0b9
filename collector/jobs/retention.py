"""Every hour: values of runs that are old enough move to the archive, a few runs at a time."""

from __future__ import annotations

from collector.errors import NotAllowed, StoreError, StoreUnavailable
from collector.jobs.job import Job, Shop
from collector.keeping import archive
from collector.store.database import read

HOUR_S = 3_600.0
AT_ONCE = 20  # each run is a transaction that shots wait for


def move_old_values(shop: Shop) -> str:
    """Move the values of the oldest runs that are due."""
    chosen = shop.settings.retention
    if chosen.values_days is None:
        return "no retention.values_days is set, so every value stays in the store"
    with read(shop.engine) as conn:
        due = archive.due(conn, now=shop.clock.now(), values_days=chosen.values_days)
    moved, stay = 0, []
    for run_id in due:
        try:
            archive.archive_run(shop.engine, run_id, chosen.folder, who="service", clock=shop.clock)
        except StoreUnavailable:
            raise
        except (NotAllowed, StoreError) as error:
            stay.append(str(error))  # the runs after it must still move
        else:
            moved += 1
        if moved == AT_ONCE:
            break
    if stay:
        raise StoreError(f"moved {moved} runs to {chosen.folder}, {len(stay)} stay: {stay[0]}")
    left = len(due) - moved
    return f"moved {moved} runs to {chosen.folder}" + (f", {left} wait" if left > 0 else "")


JOB = Job(name="retention", every_s=HOUR_S, work=move_old_values, longest_s=HOUR_S)
