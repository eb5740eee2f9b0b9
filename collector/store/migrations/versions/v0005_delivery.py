"""Channels, escalation, and the results of timed jobs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Bring a store here."""
    _job_results()
    op.add_column("outbox", sa.Column("once", sa.Boolean, nullable=False, server_default=sa.false()))
    _notices()
    _channels()
    _reports()


def _job_results() -> None:
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


def _notices() -> None:
    op.create_table(
        "notices",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("alarm_id", ID, nullable=False),
        sa.Column("channel", sa.String, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("reason", sa.String, nullable=False),
        sa.Column("characteristics", sa.Integer, nullable=False),
        sa.Column("occurrences", sa.Integer, nullable=False),
        sa.Column("outbox_id", ID, nullable=False),
        sa.ForeignKeyConstraint(["alarm_id"], ["alarms.id"], name="fk_notices_alarm_id_alarms"),
        sa.ForeignKeyConstraint(["outbox_id"], ["outbox.id"], name="fk_notices_outbox_id_outbox"),
        sa.PrimaryKeyConstraint("id", name="pk_notices"),
        sa.UniqueConstraint("alarm_id", "channel", "number", name="uq_notices_alarm_id_channel_number"),
    )
    op.create_index("ix_notices_outbox", "notices", ["outbox_id"])


def _channels() -> None:
    op.create_table(
        "channels",
        sa.Column("name", sa.String, nullable=False),
        sa.Column("last_sent_at", sa.BigInteger),
        sa.Column("last_error_at", sa.BigInteger),
        sa.Column("last_error", sa.Text),
        sa.Column("disabled_at", sa.BigInteger),
        sa.Column("disabled_why", sa.Text),
        sa.PrimaryKeyConstraint("name", name="pk_channels"),
    )


def _reports() -> None:
    op.create_table(
        "reports",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("subject", sa.String, nullable=False),
        sa.Column("from_at", sa.BigInteger, nullable=False),
        sa.Column("until_at", sa.BigInteger, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_reports"),
        sa.UniqueConstraint("kind", "subject", name="uq_reports_kind_subject"),
    )
