"""What a study of a run would set as limits, for a person to approve."""

from __future__ import annotations

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from collector.actions.limits import Proposal, propose
from collector.contract import quantities
from collector.pipeline import engine_policy
from collector.settings import Settings
from collector.store.tables import alarms


def proposals(conn: Connection, run_id: int, settings: Settings) -> list[Proposal]:
    """The study of a run; NotAllowed when it is too short."""
    return propose(conn, run_id, engine_policy(settings))


def alarms_of(conn: Connection, run_id: int) -> int:
    """How many alarms began in a run: their shots are part of its study."""
    return int(
        conn.execute(
            sa.select(sa.func.count()).select_from(alarms).where(alarms.c.run_id == run_id)
        ).scalar_one()
    )


def table(found: list[Proposal]) -> pd.DataFrame:
    """Proposals in words, one row a characteristic."""
    return pd.DataFrame([_row(each) for each in found]).set_index("Characteristic")


def _row(each: Proposal) -> dict[str, str]:
    key, baseline = each.limits.key, each.limits.baseline
    lines = each.limits.charts[0].limits()
    worth = f"{baseline.n} shots, worth {baseline.effective_n():.0f}" if baseline.n else "as set"
    return {
        "Characteristic": quantities.label(key),
        "Center": quantities.format_value(key, baseline.center),
        "Sigma": quantities.format_value(key, baseline.sigma) if baseline.n else "none",
        "Limits of a single shot": "any change"
        if lines is None or not baseline.n
        else f"{quantities.format_value(key, lines.lower)} to {quantities.format_value(key, lines.upper)}",
        "Rests on": worth,
        "Standing": each.limits.standing,
        "To know": " ".join(each.notes),
    }
