"""A step that forgets a row that others name."""

from alembic import op

revision = "9001"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.execute("DELETE FROM instrument")
