"""Every hour: what tells of deliveries and guesses of long ago is deleted."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Protocol

import sqlalchemy as sa

from collector.jobs.job import Job, Shop
from collector.store import forgetting
from collector.store.database import write

HOUR_S = 3_600.0


class _Delete(Protocol):
    def __call__(self, conn: sa.Connection, *, before: datetime) -> int: ...


def forget(shop: Shop) -> str:
    """Delete what is older than the settings say, few rows at a time."""
    chosen = shop.settings.retention
    gone = _all(shop, forgetting.messages, chosen.delivered_days)
    guesses = _all(shop, forgetting.attempts, chosen.attempts_days)
    over = _all(shop, forgetting.sign_ins_over, chosen.attempts_days)
    return f"deleted {gone} delivered messages, {guesses} attempts to sign in and {over} sign-ins"


def _all(shop: Shop, delete: _Delete, days: float) -> int:
    before, total = shop.wall() - timedelta(days=days), 0
    while True:
        with write(shop.engine) as conn:
            count = delete(conn, before=before)
        total += count
        if count < forgetting.AT_ONCE:
            return total


JOB = Job(name="forgetting", every_s=HOUR_S, work=forget)
