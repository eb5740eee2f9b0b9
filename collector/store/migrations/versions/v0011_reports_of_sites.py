"""Sites that share a store have reports and jobs of their own."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

OF_A_SITE = ("escalation", "gauging due", "shift summary", "silence")


def upgrade() -> None:
    """Bring a store here; of the last run of a job nothing says at which site it was."""
    with op.batch_alter_table("reports") as table:
        table.drop_constraint("uq_reports_kind_subject", type_="unique")
        table.add_column(sa.Column("site", sa.String(), nullable=True))
        table.create_unique_constraint("uq_reports_site_kind_subject", ["site", "kind", "subject"])
    results = sa.table("job_results", sa.column("name", sa.String))
    op.execute(sa.delete(results).where(results.c.name.in_(OF_A_SITE)))
