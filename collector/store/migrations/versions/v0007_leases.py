"""Which collector has which press."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Bring a store here."""
    op.create_table(
        "leases",
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("part", sa.Integer(), nullable=False),
        sa.Column("parts", sa.Integer(), nullable=False),
        sa.Column("holder", sa.String(), nullable=True),
        sa.Column("until", sa.BigInteger(), nullable=False),
        sa.Column("fence", BIG, nullable=False),
        sa.Column("ready_at", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("site", "name", name=op.f("pk_leases")),
        sa.UniqueConstraint("site", "name", "fence", name=op.f("uq_leases_site_name_fence")),
    )
    op.create_table(
        "collectors",
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("until", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("site", "name", name=op.f("pk_collectors")),
    )
