"""The tables of the first version."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# Written out, not taken from the code of today, so that it stays what it was.
ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
JSON = sa.JSON().with_variant(postgresql.JSONB(), "postgresql")


def upgrade() -> None:
    """Make every table."""
    op.create_table(
        "clocks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("wall_anchor", sa.BigInteger(), nullable=False),
        sa.Column("service_anchor", sa.BigInteger(), nullable=False),
        sa.Column("speed", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clocks")),
    )
    op.create_table(
        "heartbeats",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("wall_at", sa.BigInteger(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("detail", JSON, nullable=True),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_heartbeats")),
    )
    op.create_table(
        "imports",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("file_name", sa.String(), nullable=False),
        sa.Column("file_digest", sa.LargeBinary(), nullable=False),
        sa.Column("profile", sa.String(), nullable=False),
        sa.Column("imported_at", sa.BigInteger(), nullable=False),
        sa.Column("accepted", sa.Integer(), nullable=False),
        sa.Column("duplicates", sa.Integer(), nullable=False),
        sa.Column("refused", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_imports")),
        sa.UniqueConstraint("file_digest", name=op.f("uq_imports_file_digest")),
    )
    op.create_table(
        "journal",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("wall_at", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("before", JSON, nullable=True),
        sa.Column("after", JSON, nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.Column("previous_digest", sa.LargeBinary(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_journal")),
        sa.UniqueConstraint("digest", name=op.f("uq_journal_digest")),
        sa.UniqueConstraint("previous_digest", name=op.f("uq_journal_previous_digest")),
    )
    op.create_table(
        "outbox",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("retain", sa.Boolean(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_try_at", sa.BigInteger(), nullable=False),
        sa.Column("claimed_by", sa.String(), nullable=True),
        sa.Column("claimed_at", sa.BigInteger(), nullable=True),
        sa.Column("sent_at", sa.BigInteger(), nullable=True),
        sa.Column("last_error", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
    )
    op.create_index("ix_outbox_due", "outbox", ["state", "next_try_at"], unique=False)
    op.create_table(
        "presses",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=True),
        sa.Column("state_at", sa.BigInteger(), nullable=True),
        sa.Column("last_shot_at", sa.BigInteger(), nullable=True),
        sa.Column("usual_cycle_s", sa.Float(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_presses")),
        sa.UniqueConstraint("site", "name", name=op.f("uq_presses_site_name")),
    )
    op.create_table(
        "recipes",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("mold", sa.String(), nullable=True),
        sa.Column("blend", sa.String(), nullable=True),
        sa.Column("qualified_by", sa.String(), nullable=True),
        sa.Column("qualified_at", sa.BigInteger(), nullable=True),
        sa.Column("setpoints", JSON, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recipes")),
        sa.UniqueConstraint("name", "version", name=op.f("uq_recipes_name_version")),
    )
    op.create_table(
        "refusals",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("received_at", sa.BigInteger(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("position", sa.String(), nullable=False),
        sa.Column("topic", sa.String(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("remedy", sa.Text(), nullable=False),
        sa.Column("raw", sa.LargeBinary(), nullable=False),
        sa.Column("raw_digest", sa.LargeBinary(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("replayed_at", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_refusals")),
        sa.UniqueConstraint(
            "source", "position", "raw_digest", name=op.f("uq_refusals_source_position_raw_digest")
        ),
    )
    op.create_index(op.f("ix_refusals_received_at"), "refusals", ["received_at"], unique=False)
    op.create_table(
        "chart_restarts",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("key", sa.String(), nullable=True),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("applied_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["press_id"], ["presses.id"], name=op.f("fk_chart_restarts_press_id_presses")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_chart_restarts")),
    )
    op.create_table(
        "runs",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("mold", sa.String(), nullable=True),
        sa.Column("blend", sa.String(), nullable=True),
        sa.Column("lot", sa.String(), nullable=True),
        sa.Column("color", sa.String(), nullable=True),
        sa.Column("recipe_id", ID, nullable=True),
        sa.Column("opened_at", sa.BigInteger(), nullable=False),
        sa.Column("closed_at", sa.BigInteger(), nullable=True),
        sa.Column("opened_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_runs_press_id_presses")),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipes.id"], name=op.f("fk_runs_recipe_id_recipes")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_runs")),
        sa.UniqueConstraint("press_id", "name", name=op.f("uq_runs_press_id_name")),
    )
    op.create_table(
        "shots",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("epoch", sa.Integer(), nullable=False),
        sa.Column("counter", ID, nullable=True),
        sa.Column("ended_at", sa.BigInteger(), nullable=False),
        sa.Column("received_at", sa.BigInteger(), nullable=False),
        sa.Column("run_id", ID, nullable=True),
        sa.Column("tray", sa.String(), nullable=True),
        sa.Column("tray_position", sa.Integer(), nullable=True),
        sa.Column("phase", sa.String(), nullable=False),
        sa.Column("share", sa.Float(), nullable=True),
        sa.Column("share_key", sa.String(), nullable=True),
        sa.Column("signaled", sa.Boolean(), nullable=False),
        sa.Column("time_reconstructed", sa.Boolean(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("characteristics", sa.JSON(), nullable=False),
        sa.Column("setpoints", sa.JSON(), nullable=True),
        sa.Column("originals", sa.JSON(), nullable=True),
        sa.Column("setpoint_originals", sa.JSON(), nullable=True),
        sa.Column("not_written", sa.JSON(), nullable=True),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_shots_press_id_presses")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_shots_run_id_runs")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shots")),
        sa.UniqueConstraint("press_id", "epoch", "counter", name=op.f("uq_shots_press_id_epoch_counter")),
    )
    op.create_index("ix_shots_press", "shots", ["press_id", "id"], unique=False)
    op.create_index("ix_shots_press_time", "shots", ["press_id", "ended_at"], unique=False)
    op.create_index("ix_shots_run", "shots", ["run_id", "id"], unique=False)
    op.create_index("ix_shots_tray", "shots", ["tray", "press_id"], unique=False)
    op.create_index(
        "uq_shots_press_time_no_counter",
        "shots",
        ["press_id", "ended_at"],
        unique=True,
        sqlite_where=sa.text("counter IS NULL"),
        postgresql_where=sa.text("counter IS NULL"),
    )
    op.create_table(
        "alarms",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("run_id", ID, nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("opened_at", sa.BigInteger(), nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=False),
        sa.Column("first_shot_id", ID, nullable=True),
        sa.Column("last_shot_id", ID, nullable=True),
        sa.Column("change_shot_id", ID, nullable=True),
        sa.Column("change_low_shot_id", ID, nullable=True),
        sa.Column("change_high_shot_id", ID, nullable=True),
        sa.Column("quiet_shots", sa.Integer(), nullable=False),
        sa.Column("characteristics", JSON, nullable=False),
        sa.Column("headline", sa.Text(), nullable=False),
        sa.Column("causes", JSON, nullable=True),
        sa.Column("acknowledged_by", sa.String(), nullable=True),
        sa.Column("acknowledged_at", sa.BigInteger(), nullable=True),
        sa.Column("closed_by", sa.String(), nullable=True),
        sa.Column("closed_at", sa.BigInteger(), nullable=True),
        sa.Column("cause", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["change_high_shot_id"], ["shots.id"], name=op.f("fk_alarms_change_high_shot_id_shots")
        ),
        sa.ForeignKeyConstraint(
            ["change_low_shot_id"], ["shots.id"], name=op.f("fk_alarms_change_low_shot_id_shots")
        ),
        sa.ForeignKeyConstraint(
            ["change_shot_id"], ["shots.id"], name=op.f("fk_alarms_change_shot_id_shots")
        ),
        sa.ForeignKeyConstraint(["first_shot_id"], ["shots.id"], name=op.f("fk_alarms_first_shot_id_shots")),
        sa.ForeignKeyConstraint(["last_shot_id"], ["shots.id"], name=op.f("fk_alarms_last_shot_id_shots")),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_alarms_press_id_presses")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_alarms_run_id_runs")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alarms")),
    )
    op.create_index("ix_alarms_open", "alarms", ["press_id", "closed_at"], unique=False)
    op.create_table(
        "amendments",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("shot_id", ID, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("before", JSON, nullable=False),
        sa.Column("after", JSON, nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["shot_id"], ["shots.id"], name=op.f("fk_amendments_shot_id_shots")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_amendments")),
    )
    op.create_index(op.f("ix_amendments_shot_id"), "amendments", ["shot_id"], unique=False)
    op.create_table(
        "engine_states",
        sa.Column("press_id", ID, nullable=False),
        sa.Column("last_shot_id", ID, nullable=True),
        sa.Column("state", JSON, nullable=False),
        sa.ForeignKeyConstraint(
            ["last_shot_id"], ["shots.id"], name=op.f("fk_engine_states_last_shot_id_shots")
        ),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_engine_states_press_id_presses")),
        sa.PrimaryKeyConstraint("press_id", name=op.f("pk_engine_states")),
    )
    op.create_table(
        "events",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("shot_id", ID, nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=True),
        sa.Column("old", JSON, nullable=True),
        sa.Column("new", JSON, nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("source", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_events_press_id_presses")),
        sa.ForeignKeyConstraint(["shot_id"], ["shots.id"], name=op.f("fk_events_shot_id_shots")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_events")),
    )
    op.create_index("ix_events_press_time", "events", ["press_id", "at"], unique=False)
    op.create_table(
        "gaugings",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("characteristic", sa.String(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("original_value", sa.Float(), nullable=True),
        sa.Column("original_unit", sa.String(), nullable=True),
        sa.Column("gauged_at", sa.BigInteger(), nullable=True),
        sa.Column("age_h", sa.Float(), nullable=True),
        sa.Column("received_at", sa.BigInteger(), nullable=False),
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("press_id", ID, nullable=True),
        sa.Column("run_id", ID, nullable=True),
        sa.Column("run_name", sa.String(), nullable=True),
        sa.Column("shot_id", ID, nullable=True),
        sa.Column("joined_by", sa.String(), nullable=True),
        sa.Column("counter", ID, nullable=True),
        sa.Column("tray", sa.String(), nullable=True),
        sa.Column("tray_position", sa.Integer(), nullable=True),
        sa.Column("disc_mark", sa.String(), nullable=True),
        sa.Column("order_batch", sa.String(), nullable=True),
        sa.Column("order_index", sa.Integer(), nullable=True),
        sa.Column("order_offset", sa.Integer(), nullable=True),
        sa.Column("gauge", sa.String(), nullable=True),
        sa.Column("temperature_degc", sa.Float(), nullable=True),
        sa.Column("definition", sa.String(), nullable=True),
        sa.Column("who", sa.String(), nullable=True),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("identity", sa.LargeBinary(), nullable=False),
        sa.Column("withdrawn_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_gaugings_press_id_presses")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_gaugings_run_id_runs")),
        sa.ForeignKeyConstraint(["shot_id"], ["shots.id"], name=op.f("fk_gaugings_shot_id_shots")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gaugings")),
        sa.UniqueConstraint("identity", name=op.f("uq_gaugings_identity")),
    )
    op.create_index("ix_gaugings_batch", "gaugings", ["order_batch"], unique=False)
    op.create_index("ix_gaugings_run", "gaugings", ["run_id", "characteristic"], unique=False)
    op.create_index(op.f("ix_gaugings_shot_id"), "gaugings", ["shot_id"], unique=False)
    op.create_index("ix_gaugings_waiting", "gaugings", ["press_id", "joined_by"], unique=False)
    op.create_table(
        "limits",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("context", sa.String(), nullable=False),
        sa.Column("run_id", ID, nullable=True),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("standing", sa.String(), nullable=False),
        sa.Column("baseline", JSON, nullable=False),
        sa.Column("charts", JSON, nullable=False),
        sa.Column("cost", JSON, nullable=True),
        sa.Column("from_shot_id", ID, nullable=True),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("retired_at", sa.BigInteger(), nullable=True),
        sa.Column("approved_by", sa.String(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["from_shot_id"], ["shots.id"], name=op.f("fk_limits_from_shot_id_shots")),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_limits_press_id_presses")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_limits_run_id_runs")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_limits")),
        sa.UniqueConstraint(
            "press_id",
            "context",
            "run_id",
            "key",
            "version",
            name=op.f("uq_limits_press_id_context_run_id_key_version"),
        ),
    )
    op.create_table(
        "alarm_steps",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("alarm_id", ID, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("event", sa.String(), nullable=False),
        sa.Column("before", sa.String(), nullable=True),
        sa.Column("after", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["alarm_id"], ["alarms.id"], name=op.f("fk_alarm_steps_alarm_id_alarms")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alarm_steps")),
    )
    op.create_index(op.f("ix_alarm_steps_alarm_id"), "alarm_steps", ["alarm_id"], unique=False)
    op.create_table(
        "holds",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("run_id", ID, nullable=True),
        sa.Column("alarm_id", ID, nullable=True),
        sa.Column("from_shot_id", ID, nullable=False),
        sa.Column("to_shot_id", ID, nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("opened_by", sa.String(), nullable=False),
        sa.Column("opened_at", sa.BigInteger(), nullable=False),
        sa.Column("closed_by", sa.String(), nullable=True),
        sa.Column("closed_at", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["alarm_id"], ["alarms.id"], name=op.f("fk_holds_alarm_id_alarms")),
        sa.ForeignKeyConstraint(["from_shot_id"], ["shots.id"], name=op.f("fk_holds_from_shot_id_shots")),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_holds_press_id_presses")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_holds_run_id_runs")),
        sa.ForeignKeyConstraint(["to_shot_id"], ["shots.id"], name=op.f("fk_holds_to_shot_id_shots")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_holds")),
    )
    op.create_table(
        "signals",
        sa.Column("id", ID, autoincrement=True, nullable=False),
        sa.Column("press_id", ID, nullable=False),
        sa.Column("shot_id", ID, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("chart", sa.String(), nullable=True),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("direction", sa.SmallInteger(), nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("statistic", sa.Float(), nullable=True),
        sa.Column("share", sa.Float(), nullable=True),
        sa.Column("points", sa.Integer(), nullable=False),
        sa.Column("limits_id", ID, nullable=True),
        sa.Column("alarm_id", ID, nullable=True),
        sa.Column("changed", sa.Text(), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["alarm_id"], ["alarms.id"], name=op.f("fk_signals_alarm_id_alarms")),
        sa.ForeignKeyConstraint(["limits_id"], ["limits.id"], name=op.f("fk_signals_limits_id_limits")),
        sa.ForeignKeyConstraint(["press_id"], ["presses.id"], name=op.f("fk_signals_press_id_presses")),
        sa.ForeignKeyConstraint(["shot_id"], ["shots.id"], name=op.f("fk_signals_shot_id_shots")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signals")),
    )
    op.create_index("ix_signals_alarm", "signals", ["alarm_id"], unique=False)
    op.create_index("ix_signals_press_shot", "signals", ["press_id", "shot_id"], unique=False)
