"""What is under way or open is found by an index: running imports, open alarms, entries by what was done."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a store here; an import that has not ended counts as cut off, since nothing says that it runs."""
    op.add_column("imports", sa.Column("alive_at", sa.BigInteger(), nullable=True))
    runs = sa.text("alive_at IS NOT NULL")
    op.create_index(
        "uq_imports_running", "imports", ["file_name"], unique=True, sqlite_where=runs, postgresql_where=runs
    )
    op.create_index("ix_alarms_closed_at", "alarms", ["closed_at"], unique=False)
    op.create_index("ix_journal_action", "journal", ["action", "id"], unique=False)
