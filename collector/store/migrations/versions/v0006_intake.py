"""Gaps of counters, clock offsets, and files that were taken back."""

from __future__ import annotations

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a store here."""
