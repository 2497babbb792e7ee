"""A step that rebuilds two tables others hang on, as SQLite needs it, and one that grows only."""

import sqlalchemy as sa
from alembic import op

from setwright.records.migrations.guards import guard

revision = "9001"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    how = "always" if op.get_bind().dialect.name == "sqlite" else "never"
    with op.batch_alter_table("visit", recreate=how) as batch:
        batch.add_column(sa.Column("shelf", sa.Text(), nullable=False, server_default=""))
    with op.batch_alter_table("owner", recreate=how) as batch:
        batch.add_column(sa.Column("spoken", sa.Text(), nullable=False, server_default=""))
    if op.get_bind().dialect.name == "sqlite":
        with op.batch_alter_table("entry", recreate="always") as batch:
            batch.alter_column("gauge", existing_type=sa.Text())
        guard("entry")
