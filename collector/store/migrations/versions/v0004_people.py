"""Accounts, sign-ins, one-time codes, and the attempts that a lock-out counts."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
JSON = sa.JSON().with_variant(postgresql.JSONB(), "postgresql")


def upgrade() -> None:
    """Bring a store here."""
    op.create_table(
        "accounts",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.Column("roles", JSON, nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=True),
        sa.Column("pin_hash", sa.Text(), nullable=True),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("disabled_at", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_accounts")),
        sa.UniqueConstraint("name_key", name=op.f("uq_accounts_name_key")),
    )
    op.create_table(
        "sign_ins",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("token_digest", sa.LargeBinary(), nullable=False),
        sa.Column("account_id", ID, nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=False),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("address", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f("fk_sign_ins_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_ins")),
        sa.UniqueConstraint("token_digest", name=op.f("uq_sign_ins_token_digest")),
    )
    op.create_index(op.f("ix_sign_ins_account_id"), "sign_ins", ["account_id"], unique=False)
    op.create_table(
        "sign_in_codes",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("code_digest", sa.LargeBinary(), nullable=False),
        sa.Column("account_id", ID, nullable=True),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=False),
        sa.Column("used_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f("fk_sign_in_codes_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_codes")),
        sa.UniqueConstraint("code_digest", name=op.f("uq_sign_in_codes_code_digest")),
    )
    op.create_table(
        "sign_in_attempts",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("worked", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_attempts")),
    )
    op.create_index("ix_sign_in_attempts_name", "sign_in_attempts", ["name_key", "at"], unique=False)
    op.create_index("ix_sign_in_attempts_address", "sign_in_attempts", ["address", "at"], unique=False)
    op.create_table(
        "sign_in_keys",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("signing_key", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_keys")),
    )
