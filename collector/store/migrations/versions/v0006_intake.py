"""Gaps of counters, clocks of presses, runs of the past, and files that were taken back."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
JSON = sa.JSON().with_variant(postgresql.JSONB(), "postgresql")


def upgrade() -> None:
    """Bring a store here."""
    op.add_column("presses", sa.Column("heard_at", sa.BigInteger(), nullable=True))
    op.add_column("presses", sa.Column("clock_behind_s", sa.Float(), nullable=True))
    op.add_column("runs", sa.Column("trial", sa.Boolean(), nullable=True))
    _imports()
    _gaps()
    _past_runs()


def _imports() -> None:
    # A file whose import was undone may be imported again, so its digest names no single row any more.
    with op.batch_alter_table("imports") as table:
        table.drop_constraint("uq_imports_file_digest", type_="unique")
        table.add_column(sa.Column("after_shot_id", ID, nullable=True))
        table.add_column(sa.Column("last_shot_id", ID, nullable=True))
        table.add_column(sa.Column("after_gauging_id", ID, nullable=True))
        table.add_column(sa.Column("last_gauging_id", ID, nullable=True))
        table.add_column(sa.Column("undone_at", sa.BigInteger(), nullable=True))
        table.add_column(sa.Column("undone_by", sa.String(), nullable=True))
        table.add_column(sa.Column("undone_why", sa.Text(), nullable=True))
    op.create_index(op.f("ix_imports_file_digest"), "imports", ["file_digest"])
    op.create_table(
        "withdrawn_shots",
        sa.Column("shot_id", ID, autoincrement=False, nullable=False),
        sa.Column("import_id", ID, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("run_id", ID, nullable=True),
        sa.ForeignKeyConstraint(
            ["import_id"], ["imports.id"], name=op.f("fk_withdrawn_shots_import_id_imports")
        ),
        sa.ForeignKeyConstraint(
            ["press_id"], ["presses.id"], name=op.f("fk_withdrawn_shots_press_id_presses")
        ),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_withdrawn_shots_run_id_runs")),
        sa.PrimaryKeyConstraint("shot_id", name=op.f("pk_withdrawn_shots")),
    )
    op.create_index(op.f("ix_withdrawn_shots_import_id"), "withdrawn_shots", ["import_id"])


def _gaps() -> None:
    op.create_table(
        "counter_gaps",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("epoch", sa.Integer(), nullable=False),
        sa.Column("after_counter", ID, nullable=False),
        sa.Column("before_counter", ID, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("missing", sa.Integer(), nullable=False),
        sa.Column("closed_at", sa.BigInteger(), nullable=True),
        sa.Column("closed_by", sa.String(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_counter_gaps_press_id_presses")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_counter_gaps")),
    )
    op.create_index("ix_counter_gaps_press", "counter_gaps", ["press_id", "closed_at"])


def _past_runs() -> None:
    op.create_table(
        "past_runs",
        sa.Column("press_id", ID, nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("run_id", ID, nullable=False),
        sa.Column("state", JSON, nullable=False),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_past_runs_press_id_presses")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_past_runs_run_id_runs")),
        sa.PrimaryKeyConstraint("press_id", "source", name=op.f("pk_past_runs")),
    )
