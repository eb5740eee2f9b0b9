"""Shelving, out of service, alarms of the service itself, and what a hold became."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

_ALARMS = sa.table("alarms", sa.column("id"), sa.column("state"))
_OF_HOLD = ("id", "alarm_id", "state", "reason", "opened_by", "opened_at", "closed_by", "closed_at", "note")
_HOLDS = sa.table("holds", *map(sa.column, _OF_HOLD))
_STEPS = sa.table("hold_steps", *map(sa.column, ("hold_id", "at", "event", "who", "reason")))


def upgrade() -> None:
    """Bring a store here."""
    _alarms()
    _set_asides()
    _holds()
    _gaugings()
    _limits()
    _past()


def _alarms() -> None:
    with op.batch_alter_table("alarms") as batch:
        batch.alter_column("press_id", existing_type=ID, nullable=True)
        for name in ("beneath", "subject", "site"):
            batch.add_column(sa.Column(name, sa.String(), nullable=True))


def _set_asides() -> None:
    op.create_table(
        "set_asides",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("press_id", ID, nullable=True),
        sa.Column("alarm_id", ID, nullable=True),
        sa.Column("key", sa.String(), nullable=True),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("until", sa.BigInteger(), nullable=True),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("ended_by", sa.String(), nullable=True),
        sa.Column("end_reason", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_set_asides_press_id_presses")),
        sa.ForeignKeyConstraint(["alarm_id"], ["alarms.id"], name=op.f("fk_set_asides_alarm_id_alarms")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_set_asides")),
    )
    op.create_index("ix_set_asides_press", "set_asides", ["press_id", "ended_at"], unique=False)
    op.create_index("ix_set_asides_alarm", "set_asides", ["alarm_id"], unique=False)


def _holds() -> None:
    for name in ("good_discs", "bad_discs"):
        op.add_column("holds", sa.Column(name, sa.Integer(), nullable=True))
    op.create_index("ix_holds_alarm", "holds", ["alarm_id", "state"], unique=False)
    op.create_index("ix_holds_press", "holds", ["press_id", "state"], unique=False)
    op.create_table(
        "hold_steps",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("hold_id", ID, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("event", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("good_discs", sa.Integer(), nullable=True),
        sa.Column("bad_discs", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["hold_id"], ["holds.id"], name=op.f("fk_hold_steps_hold_id_holds")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hold_steps")),
    )
    op.create_index(op.f("ix_hold_steps_hold_id"), "hold_steps", ["hold_id"], unique=False)


def _gaugings() -> None:
    op.add_column("gaugings", sa.Column("judged", sa.Boolean(), nullable=True))
    op.create_index("ix_gaugings_judged", "gaugings", ["judged", "id"], unique=False)


def _limits() -> None:
    op.create_index("ix_limits_run", "limits", ["run_id"], unique=False)


def _past() -> None:
    """What the rows that are there already mean in the new words."""
    waits = sa.exists().where(_HOLDS.c.alarm_id == _ALARMS.c.id, _HOLDS.c.state == "open")
    for before, after in (
        ("returned_unacknowledged", "latched_unacknowledged"), ("normal", "latched_acknowledged"),
    ):  # fmt: skip
        op.execute(sa.update(_ALARMS).where(_ALARMS.c.state == before, waits).values(state=after))
    c = _HOLDS.c
    opened = sa.select(c.id, c.opened_at, sa.literal("open"), c.opened_by, c.reason)
    decided = sa.select(c.id, c.closed_at, c.state, c.closed_by, sa.func.coalesce(c.note, ""))
    for past in (opened, decided.where(c.closed_at.is_not(None))):
        names = ["hold_id", "at", "event", "who", "reason"]
        op.execute(sa.insert(_STEPS).from_select(names, past.order_by(c.id)))
