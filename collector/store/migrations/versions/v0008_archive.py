"""Runs whose values were moved to a file."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the list of archived runs."""
    op.create_table(
        "archives",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("run_id", ID, nullable=False),
        sa.Column("file_name", sa.String(), nullable=False),
        sa.Column("file_digest", sa.LargeBinary(), nullable=False),
        sa.Column("shots", sa.Integer(), nullable=False),
        sa.Column("last_shot_id", ID, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("restored_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_archives_run_id_runs")),
        sa.ForeignKeyConstraint(["last_shot_id"], ["shots.id"], name=op.f("fk_archives_last_shot_id_shots")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_archives")),
    )
    not_restored = sa.text("restored_at IS NULL")
    op.create_index(
        "uq_archives_run_not_restored", "archives", ["run_id"], unique=True,
        sqlite_where=not_restored, postgresql_where=not_restored,
    )  # fmt: skip
