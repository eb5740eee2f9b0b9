"""Every ten minutes: runs of files that nobody named end some hours after their last shot."""

from __future__ import annotations

from datetime import timedelta

from collector import quiet_runs
from collector.jobs.job import Job, Shop
from collector.store.database import write


def end(shop: Shop) -> str | None:
    """End what is quiet by floor time for as long as parts two runs."""
    after = timedelta(hours=shop.settings.charts.new_run_after_stop_h)
    with write(shop.engine) as conn:
        ended = quiet_runs.end(conn, shop.settings.site, now=shop.clock.now(), after=after)
    return f"ended {', '.join(ended)}" if ended else None


JOB = Job(name="quiet runs", every_s=600.0, work=end, of_site=True)
