"""Who may come in: roles, PINs, benches let in, who sits at them, tries that were refused, and what happened."""

from __future__ import annotations

from typing import Any

from alembic import op
from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Integer, MetaData, Table, Text, UniqueConstraint

from setwright.records.migrations.guards import guard

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)
WORDS = Text().with_variant(Text(collation="C"), "postgresql")
Table("person", METADATA, Column("id", WORDS, primary_key=True))


def _words(*names: str, needed: bool = True) -> list[Column[Any]]:
    return [Column(name, WORDS, nullable=not needed) for name in names]


def _key(name: str, table: str = "") -> Column[Any]:
    return Column(name, WORDS, *([ForeignKey(f"{table}.id")] if table else []), primary_key=True)


TABLES = (
    Table(
        "person_role", METADATA, _key("person", "person"), *_words("role"),
        CheckConstraint("role IN ('technician', 'lead')", "role"),
    ),
    Table("pin", METADATA, _key("person", "person"), *_words("hash", "made")),
    Table("pairing", METADATA, _key("secret"), *_words("made", "until", "who"), *_words("used", needed=False)),
    Table(
        "device", METADATA, _key("id"), *_words("name", "secret", "made", "who", "seen"),
        *_words("until", needed=False), *_words("ended_by"), UniqueConstraint("secret"),
    ),
    Table(
        "sitting", METADATA, _key("secret"), Column("device", WORDS, ForeignKey("device.id"), nullable=False),
        Column("person", WORDS, ForeignKey("person.id"), nullable=False), *_words("began", "seen"),
        Index(None, "device"), Index(None, "person"),
    ),
    Table(
        "refused_try", METADATA, _key("about"), Column("tries", Integer, nullable=False), *_words("at"),
        CheckConstraint("tries > 0", "tries"),
    ),
    Table("audit", METADATA, _key("id"), *_words("at", "event", "who", "device", "about", "words")),
)  # fmt: skip


def upgrade() -> None:
    """Make all of them with nothing in them; what happened is only added to."""
    for table in TABLES:
        table.create(op.get_bind())
    guard("audit")
