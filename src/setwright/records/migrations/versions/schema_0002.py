"""Summaries of closed visits, so that questions about many visits need not read their journals."""

from __future__ import annotations

from alembic import op
from sqlalchemy import Boolean, Column, Double, ForeignKey, Index, Integer, MetaData, Table, Text

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)
WORDS = Text().with_variant(Text(collation="C"), "postgresql")
Table("visit", METADATA, Column("id", WORDS, primary_key=True))


def _words(*names: str) -> list[Column[str]]:
    return [Column(name, WORDS, nullable=False) for name in names]


def _counts(*names: str) -> list[Column[int]]:
    return [Column(name, Integer, nullable=False) for name in names]


def _numbers(*names: str) -> list[Column[float]]:
    return [Column(name, Double, nullable=True) for name in names]


SUMMARY = Table(
    "visit_summary", METADATA, Column("visit", WORDS, ForeignKey("visit.id"), primary_key=True), *_counts("version"),
    *_words("kind"), *_counts("rounds", "claw_settings", "tunings"), Column("minutes", Integer, nullable=True),
    *_counts("inside", "outside", "uncertain"), Column("first_pass", Boolean, nullable=True), *_numbers("humidity"),
    Index(
        "ix_visit_summary_counts", "kind", "first_pass", "outside", "uncertain", "rounds", "claw_settings", "tunings",
        "minutes",
    ),
)  # fmt: skip
VALUE = Table(
    "visit_value", METADATA, Column("visit", WORDS, ForeignKey("visit.id"), primary_key=True),
    Column("number", Integer, primary_key=True), *_words("what"), *_counts("string", "fret"), *_words("side"),
    Column("harmonic", Boolean, nullable=False), *_words("convention", "attitude", "kind"),
    *_numbers("found_si", "found_uncertainty", "left_si", "left_uncertainty"),
    Column("specification", WORDS, nullable=True), Column("item", Integer, nullable=True), *_words("verdict", "month"),
    *_numbers("changed", "humidity_change", "years"),
    Index(None, "specification", "item", "month", "left_si"), Index(None, "verdict", "visit"),
    Index("ix_visit_value_change", "what", "kind", "visit", "month", "changed", "humidity_change", "years"),
)  # fmt: skip


def upgrade() -> None:
    """Make both tables, with nothing in them: they fill when they are first asked."""
    for table in (SUMMARY, VALUE):
        table.create(op.get_bind())
