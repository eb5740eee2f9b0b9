"""Every few seconds: new gaugings against their tolerance, whichever door they came in by."""

from __future__ import annotations

from collector.alarms.gauged import Tolerances, judge_new
from collector.gauging.outside import Bounds
from collector.jobs.job import Job, Shop
from collector.settings import Settings
from collector.store.database import write


def judge(shop: Shop) -> str | None:
    """Open or grow the alarms of discs out of tolerance, and have what they say delivered."""
    with write(shop.engine) as conn:
        told = judge_new(conn, tolerances(shop.settings), now=shop.clock.now(), wall=shop.wall())
    if not told:
        return None
    shop.deliver_soon()
    return f"discs out of tolerance: alarm{'' if len(told) == 1 else 's'} {', '.join(map(str, told))}"


def tolerances(settings: Settings) -> Tolerances:
    """The settings' tolerances, by mold and characteristic."""
    return {
        mold: {key: Bounds(each.low, each.high) for key, each in allowed.items()}
        for mold, allowed in settings.tolerance.items()
    }


JOB = Job(name="gaugings against tolerance", every_s=5.0, work=judge)
