"""People whom an identity provider signs in, and the states that were used for it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a store here."""
    op.add_column("accounts", sa.Column("provider_issuer", sa.String(), nullable=True))
    op.add_column("accounts", sa.Column("provider_subject", sa.String(), nullable=True))
    op.create_index("uq_accounts_provider", "accounts", ["provider_issuer", "provider_subject"], unique=True)
    op.create_table(
        "sign_in_states",
        sa.Column("state_digest", sa.LargeBinary(), nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("state_digest", name=op.f("pk_sign_in_states")),
    )
