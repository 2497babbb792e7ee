"""Triggers that refuse to change or erase rows of a table that only grows.

Rebuilding a table drops its triggers: a step that does so guards it again. Stays as it is; new wording gets a new name.
"""

from __future__ import annotations

from alembic import op

_FUNCTION = """
CREATE OR REPLACE FUNCTION only_added_to() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '% is only added to', TG_TABLE_NAME; END $$
"""


def guard(table: str) -> None:
    """Guard a table.

    Args:
        table: its name.
    """
    if op.get_bind().dialect.name == "sqlite":
        for what in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is only added to'); END"
            )
        return
    op.execute(_FUNCTION)
    for what, each in (("UPDATE", "ROW"), ("DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
        op.execute(
            f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} "
            f"FOR EACH {each} EXECUTE FUNCTION only_added_to()"
        )
