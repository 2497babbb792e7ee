"""The tables of a shop, the same on SQLite and PostgreSQL. Only migrations make them; a test compares both.

Times are text: those of a journal by the clock of the bench, without a zone, all others in UTC with a Z. JSON is text
with its keys in order. Text sorts by its code points on both engines. Rows of `GROWING` tables are never changed or
erased; triggers refuse it.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}
GROWING = ("entry", "specification", "specification_item", "stock_movement", "audit")
METADATA = MetaData(naming_convention=NAMES)
WORDS = Text().with_variant(Text(collation="C"), "postgresql")


def _id() -> Column[Any]:
    return Column("id", WORDS, primary_key=True)


def _words(name: str, *more: Any, needed: bool = True) -> Column[Any]:
    return Column(name, WORDS, *more, nullable=not needed)


def _count(name: str, *more: Any, needed: bool = True) -> Column[Any]:
    return Column(name, Integer, *more, nullable=not needed)


def _number(name: str, needed: bool = False) -> Column[Any]:
    return Column(name, Double, nullable=not needed)


def _to(name: str, table: str, needed: bool = True) -> Column[Any]:
    return Column(name, WORDS, ForeignKey(f"{table}.id"), nullable=not needed)


def _document(name: str, needed: bool = True) -> Column[Any]:
    return Column(name, WORDS, ForeignKey("document.sha256"), nullable=not needed)


def _version() -> Column[Any]:
    return _count("version")


SHOP = Table("shop", METADATA, _id(), _words("name"), _words("made"), _words("written_by"))
PERSON = Table("person", METADATA, _id(), _version(), _words("name"), _words("since"), _words("until", needed=False))
OWNER = Table(
    "owner", METADATA, _id(), _version(), _words("name"), _words("contact"), _words("note"), _words("made"),
    _words("sought"),
)  # fmt: skip
DOCUMENT = Table("document", METADATA, Column("sha256", WORDS, primary_key=True), _words("text"))
INSTRUMENT = Table(
    "instrument", METADATA, _id(), _version(), _to("owner", "owner", needed=False), _words("name"), _words("maker"),
    _words("model"), _words("serial"), _words("colour"), _words("made"), _words("sought"), _words("file_name"),
    _document("file"),
    Index(None, "owner"), Index(None, "serial"), Index(None, "file"),
)  # fmt: skip
SPECIFICATION = Table(
    "specification", METADATA, _id(), _words("name"), _count("number"), _words("made"), _words("who"), _words("note"),
    UniqueConstraint("name", "number"), CheckConstraint("number > 0", "number"),
)  # fmt: skip
SPECIFICATION_ITEM = Table(
    "specification_item", METADATA, Column("specification", WORDS, ForeignKey("specification.id"), primary_key=True),
    Column("number", Integer, primary_key=True), _words("what"), _words("place"), _words("convention"),
    _words("kind"), _number("nominal"), _number("low"), _number("high"), _words("unit"), _words("written"),
    _words("source"),
    CheckConstraint("low IS NULL OR high IS NULL OR low <= high", "limits"),
)  # fmt: skip
VISIT = Table(
    "visit", METADATA, _id(), _version(), _to("instrument", "instrument"), _count("number"), _words("state"),
    _words("kind"), _words("came"), _words("handed_back", needed=False),
    _to("specification", "specification", needed=False), _words("wish"), _words("job_name"), _words("instrument_name"),
    _words("journal_name"), _document("job_file"), _document("instrument_file"),
    Column("tail", LargeBinary, nullable=False), _document("belief", needed=False),
    UniqueConstraint("instrument", "number"), CheckConstraint("number > 0", "number"),
    CheckConstraint("state IN ('open', 'closed')", "state"), Index(None, "state", "came"),
)  # fmt: skip


def _value(name: str) -> tuple[Column[Any], ...]:
    """A value of an entry: its kind, as it was written, its unit, in SI units, its standard uncertainty."""
    words = (_words(f"{name}_{part}", needed=False) for part in ("kind", "written", "unit"))
    return (*words, _number(f"{name}_si"), _number(f"{name}_uncertainty"))


ENTRY = Table(
    "entry", METADATA, Column("visit", WORDS, ForeignKey("visit.id"), primary_key=True),
    Column("number", Integer, primary_key=True), _words("at"), _words("verb"), _words("what"), _words("way"),
    _count("string", needed=False), _count("fret", needed=False), _words("side"),
    Column("harmonic", Boolean, nullable=False), _words("convention", needed=False), *_value("value"),
    *_value("heard"), _words("state", needed=False), _words("said", needed=False), _words("gauge"),
    Column("sure", Boolean, nullable=False), _words("who"), _words("recording"), _words("sha256"),
    _count("strikes", needed=False), _words("text"), _words("line"), Column("before", LargeBinary, nullable=True),
    CheckConstraint("number > 0", "number"), CheckConstraint("verb IN ('read', 'did', 'note', 'strike')", "verb"),
    CheckConstraint("(verb = 'strike') = (strikes IS NOT NULL)", "strikes"),
)  # fmt: skip
STEP = Table(
    "step", METADATA, _id(), _to("visit", "visit"), _count("number"), _words("advice"), _words("planned"),
    _words("done", needed=False), UniqueConstraint("visit", "number"), CheckConstraint("number > 0", "number"),
)  # fmt: skip
PART = Table("part", METADATA, _id(), _version(), _words("name"), _words("unit"), UniqueConstraint("name"))
STOCK_MOVEMENT = Table(
    "stock_movement", METADATA, _id(), _to("part", "part"), _count("count"), _words("reason"),
    _to("visit", "visit", needed=False), _words("made"), _words("who"),
    CheckConstraint("count <> 0", "count"),
    CheckConstraint("reason IN ('came', 'counted', 'used', 'returned')", "reason"),
    CheckConstraint("reason NOT IN ('used', 'returned') OR visit IS NOT NULL", "visit"),
    CheckConstraint("(reason <> 'used' OR count < 0) AND (reason NOT IN ('came', 'returned') OR count > 0)", "sign"),
    Index(None, "part"), Index(None, "visit"),
)  # fmt: skip
CONTENT = Table(
    "content", METADATA, Column("sha256", WORDS, primary_key=True), Column("size", BigInteger, nullable=False),
    CheckConstraint("size >= 0", "size"),
)  # fmt: skip
CONTENT_PART = Table(
    "content_part", METADATA, Column("sha256", WORDS, ForeignKey("content.sha256"), primary_key=True),
    Column("number", Integer, primary_key=True), Column("bytes", LargeBinary, nullable=False),
)  # fmt: skip
ATTACHMENT = Table(
    "attachment", METADATA, _id(), _to("instrument", "instrument", needed=False), _to("visit", "visit", needed=False),
    _words("kind"), _words("name"), _words("media_type"),
    _words("sha256", ForeignKey("content.sha256")), _words("made"), _words("who"),
    CheckConstraint("kind IN ('photo', 'recording', 'sheet', 'other')", "kind"),
    CheckConstraint("(instrument IS NULL) <> (visit IS NULL)", "belongs"),
    Index(None, "instrument"), Index(None, "visit"), Index(None, "sha256"),
)  # fmt: skip
CLIMATE = Table(
    "climate", METADATA, _id(), _to("visit", "visit", needed=False), _words("at"), _number("temperature"),
    _number("humidity"), _words("written"), _words("who"),
    CheckConstraint("temperature IS NOT NULL OR humidity IS NOT NULL", "value"),
    CheckConstraint("temperature > 0", "temperature"), CheckConstraint("humidity BETWEEN 0 AND 1", "humidity"),
    Index(None, "visit"), Index(None, "at"),
)  # fmt: skip
SHEET = Table(
    "sheet", METADATA, _id(), _to("visit", "visit"), _words("kind"), _words("data"), _words("sha256"),
    _words("handed_over"), _words("who"), Index(None, "visit"),
)  # fmt: skip
CHANGE = Table(
    "change", METADATA, _id(), _words("table_name"), _words("row"), _count("version"), _words("made"), _words("who"),
    _words("before"), _words("after"), Index(None, "table_name", "row"),
)  # fmt: skip

# What follows from the entries of closed visits, worked out once (records/summaries.py); never exported, made anew.
VISIT_SUMMARY = Table(
    "visit_summary", METADATA, Column("visit", WORDS, ForeignKey("visit.id"), primary_key=True), _version(),
    _words("kind"), _count("rounds"), _count("claw_settings"), _count("tunings"), _count("minutes", needed=False),
    _count("inside"), _count("outside"), _count("uncertain"), Column("first_pass", Boolean, nullable=True),
    _number("humidity"),
    Index(
        "ix_visit_summary_counts", "kind", "first_pass", "outside", "uncertain", "rounds", "claw_settings", "tunings",
        "minutes",
    ),
)  # fmt: skip
VISIT_VALUE = Table(
    "visit_value", METADATA, Column("visit", WORDS, ForeignKey("visit.id"), primary_key=True),
    Column("number", Integer, primary_key=True), _words("what"), _count("string"), _count("fret"), _words("side"),
    Column("harmonic", Boolean, nullable=False), _words("convention"), _words("attitude"), _words("kind"),
    _number("found_si"), _number("found_uncertainty"), _number("left_si"), _number("left_uncertainty"),
    _words("specification", needed=False), _count("item", needed=False), _words("verdict"), _words("month"),
    _number("changed"), _number("humidity_change"), _number("years"),
    Index(None, "specification", "item", "month", "left_si"), Index(None, "verdict", "visit"),
    Index("ix_visit_value_change", "what", "kind", "visit", "month", "changed", "humidity_change", "years"),
)  # fmt: skip

# Who may come in, and from where. Only what nobody could come in with is exported: roles, and what happened.
PERSON_ROLE = Table(
    "person_role", METADATA, Column("person", WORDS, ForeignKey("person.id"), primary_key=True), _words("role"),
    CheckConstraint("role IN ('technician', 'lead')", "role"),
)  # fmt: skip
PIN = Table(
    "pin", METADATA, Column("person", WORDS, ForeignKey("person.id"), primary_key=True), _words("hash"),
    _words("made"),
)  # fmt: skip
PAIRING = Table(
    "pairing", METADATA, Column("secret", WORDS, primary_key=True), _words("made"), _words("until"), _words("who"),
    _words("used", needed=False),
)  # fmt: skip
DEVICE = Table(
    "device", METADATA, _id(), _words("name"), _words("secret"), _words("made"), _words("who"),
    _words("seen"), _words("until", needed=False), _words("ended_by"), UniqueConstraint("secret"),
)  # fmt: skip
SITTING = Table(
    "sitting", METADATA, Column("secret", WORDS, primary_key=True), _to("device", "device"), _to("person", "person"),
    _words("began"), _words("seen"), Index(None, "device"), Index(None, "person"),
)  # fmt: skip
REFUSED_TRY = Table(
    "refused_try", METADATA, Column("about", WORDS, primary_key=True), _count("tries"), _words("at"),
    CheckConstraint("tries > 0", "tries"),
)  # fmt: skip
AUDIT = Table(
    "audit", METADATA, _id(), _words("at"), _words("event"), _words("who"), _words("device"), _words("about"),
    _words("words"),
)  # fmt: skip
