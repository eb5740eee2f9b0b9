"""A view that reads a shot's value by its name in plain SQL, and a journal that refuses to be changed.

A later change of `shots` must drop the view first and make it again.
"""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

VIEW = """
CREATE VIEW shot_values AS
SELECT s.id AS shot_id, p.site, p.name AS press, s.epoch, s.counter, s.ended_at,
       v.key, {value} AS value,
       COALESCE({original}, {value}) AS original_value, o.value ->> 1 AS original_unit
FROM shots AS s
JOIN presses AS p ON p.id = s.press_id
JOIN json_each(s.characteristics) AS v ON {always}
LEFT JOIN json_each(s.originals) AS o ON o.key = v.key
"""
PARTS = {
    "sqlite": {"value": "v.value", "original": "o.value ->> 0", "always": "1"},
    "postgresql": {
        "value": "CAST(v.value #>> '{}' AS double precision)",
        "original": "CAST(o.value ->> 0 AS double precision)",
        "always": "true",
    },
}
GUARDS = {
    "sqlite": [
        f"CREATE TRIGGER journal_no_{what} BEFORE {what} ON journal "
        "BEGIN SELECT RAISE(ABORT, 'the journal is only added to'); END"
        for what in ("update", "delete")
    ],
    "postgresql": [
        "CREATE FUNCTION journal_is_only_added_to() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the journal is only added to'; END $$",
        "CREATE TRIGGER journal_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON journal "
        "FOR EACH STATEMENT EXECUTE FUNCTION journal_is_only_added_to()",
    ],
}


def upgrade() -> None:
    """Make the view and the guards."""
    database = op.get_context().dialect.name
    for statement in (VIEW.format(**PARTS[database]), *GUARDS[database]):
        op.execute(statement)
