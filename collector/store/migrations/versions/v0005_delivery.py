"""Channels, escalation, and the results of timed jobs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a store here."""
    op.create_table(
        "job_results",
        sa.Column("name", sa.String, nullable=False),
        sa.Column("started_at", sa.BigInteger, nullable=False),
        sa.Column("finished_at", sa.BigInteger),
        sa.Column("took_s", sa.Float),
        sa.Column("failed", sa.Boolean, nullable=False),
        sa.Column("outcome", sa.Text),
        sa.Column("missed", sa.Text),
        sa.Column("missed_until", sa.BigInteger),
        sa.Column("failed_since", sa.BigInteger),
        sa.PrimaryKeyConstraint("name", name="pk_job_results"),
    )
