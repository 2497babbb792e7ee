"""What is believed of an instrument stands with the visit after which it is believed."""

from __future__ import annotations

from alembic import op
from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Integer, LargeBinary, MetaData, Table, Text
from sqlalchemy import UniqueConstraint as Unique

revision = "0003"
down_revision = "0002"
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
for _name, _key in (("owner", "id"), ("specification", "id"), ("document", "sha256")):
    Table(_name, METADATA, Column(_key, WORDS, primary_key=True))


def _words(*names: str) -> list[Column[str]]:
    return [Column(name, WORDS, nullable=False) for name in names]


def _to(name: str, key: str, needed: bool = True) -> Column[str]:
    return Column(name, WORDS, ForeignKey(key), nullable=not needed)


# Both as schema 0002 has them: SQLite has to build them anew.
INSTRUMENT = Table(
    "instrument", METADATA, Column("id", WORDS, primary_key=True), Column("version", Integer, nullable=False),
    _to("owner", "owner.id", needed=False), *_words("name", "maker", "model", "serial", "colour", "made", "sought"),
    *_words("file_name"), _to("file", "document.sha256"), *_words("prior"),
    _to("belief", "document.sha256", needed=False), Index(None, "owner"), Index(None, "serial"), Index(None, "file"),
)  # fmt: skip
VISIT = Table(
    "visit", METADATA, Column("id", WORDS, primary_key=True), Column("version", Integer, nullable=False),
    _to("instrument", "instrument.id"), Column("number", Integer, nullable=False), *_words("state", "kind", "came"),
    Column("handed_back", WORDS, nullable=True), _to("specification", "specification.id", needed=False),
    *_words("wish", "job_name", "instrument_name", "journal_name"), _to("job_file", "document.sha256"),
    _to("instrument_file", "document.sha256"), Column("tail", LargeBinary, nullable=False),
    Unique("instrument", "number"), CheckConstraint("number > 0", "number"),
    CheckConstraint("state IN ('open', 'closed')", "state"), Index(None, "state", "came"),
)  # fmt: skip
BELIEF = Column("belief", WORDS, ForeignKey("document.sha256", name="fk_visit_belief"), nullable=True)


def upgrade() -> None:
    """Move the column; no command has ever filled that of the instrument."""
    if op.get_bind().dialect.name == "sqlite":
        with op.batch_alter_table("instrument", recreate="always", copy_from=INSTRUMENT) as batch:
            batch.drop_column("prior")
            batch.drop_column("belief")
        with op.batch_alter_table("visit", recreate="always", copy_from=VISIT) as batch:
            batch.add_column(BELIEF)
        return
    op.drop_column("instrument", "prior")
    op.drop_column("instrument", "belief")
    op.add_column("visit", BELIEF)
