"""The schema of a shop's database: which one it has, which one this Setwright knows, and the way between them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.records.engine import WRITES, Where, copy_file, engine_of, told

if TYPE_CHECKING:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

NEWEST = "0004"  # the last of migrations/versions; a test holds them together, so that opening a shop reads no scripts
MIGRATIONS = Path(__file__).parent / "migrations"
VERSIONS = (MIGRATIONS / "versions",)
_ONE_AT_A_TIME = 0x53485750  # key of PostgreSQL's advisory lock while a schema changes


@frozen
class Upgraded:
    """An upgrade. before, after: schemas; the same when nothing was to do. backup: the copy made first, or None."""

    before: str
    after: str
    backup: Path | None


def written_by() -> str:
    """The version of this Setwright, as a shop notes it."""
    return version("setwright")


def newest(versions: Sequence[Path] = VERSIONS) -> str:
    """The schema this Setwright knows.

    Args:
        versions: folders of the migrations.
    Returns: its number, e.g. "0001".
    """
    return str(_scripts(tuple(versions)).get_current_head())


def revisions(versions: Sequence[Path] = VERSIONS) -> frozenset[str]:
    """All schemas this Setwright knows.

    Args:
        versions: folders of the migrations.
    Returns: their numbers.
    """
    return frozenset(one.revision for one in _scripts(tuple(versions)).walk_revisions())


def schema_of(connection: Connection, place: Where) -> str | None:
    """The schema a database has.

    Args:
        connection: to it.
        place: for messages.
    Returns: its number; None where there is no table at all.
    Raises: FileFormatError for a database that is no shop.
    """
    names = set(inspect(connection).get_table_names())
    if not names:
        return None
    if not {"alembic_version", "shop"} <= names:
        raise FileFormatError(f"{place.shown}: this database is no shop; name another, it was left as it is.")
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def check_schema(connection: Connection, place: Where) -> None:
    """Refuse a database this Setwright cannot work on, with the command that helps.

    Args:
        connection: to it.
        place: for messages.
    Raises: FileFormatError for one that is empty, no shop, older or newer.
    """
    found, ours = schema_of(connection, place), NEWEST
    if found == ours:
        return
    if found is None:
        raise FileFormatError(f"{place.shown}: there is no shop in it; make one with setwright shop new {place.shown}.")
    if found in revisions():
        raise FileFormatError(
            f"{place.shown}: its tables are those of schema {found}, this Setwright needs {ours}; run setwright shop "
            f"upgrade --shop {place.shown}, it makes a backup first."
        )
    raise _newer(connection, place, found, ours)


def _newer(connection: Connection, place: Where, found: str, ours: str) -> FileFormatError:
    by = connection.execute(text("SELECT written_by FROM shop")).scalar()
    return FileFormatError(
        f"{place.shown}: its tables are those of schema {found[:40]}, this Setwright {written_by()} knows {ours} at "
        f"most; nothing was changed, run pip install --upgrade 'setwright>={by or written_by()}'."
    )


def make_tables(connection: Connection, versions: Sequence[Path] = VERSIONS, found: str | None = None) -> None:
    """Make or renew all tables, inside the transaction of a connection.

    Args:
        connection: writing; SQLite's foreign keys are off.
        versions: folders of the migrations.
        found: schema it has, where that is known; nothing is to be made of the newest.
    Raises: InputError where rows would be left without the one they name.
    """
    if found != newest(versions):
        migrate(connection, "head", versions)
    if connection.dialect.name == "sqlite":
        lost = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if lost:
            raise InputError(f"{len(lost)} rows of table {lost[0][0]} would name no other; nothing was changed.")


def migrate(connection: Connection, to: str, versions: Sequence[Path] = VERSIONS) -> None:
    """Make the tables of a schema, or bring those there are to it.

    Args:
        connection: writing, inside a transaction.
        to: number of the schema, or "head".
        versions: folders of the migrations.
    """
    from alembic import command

    config = _config(versions)
    config.attributes["connection"] = connection
    command.upgrade(config, to)


def _config(versions: Sequence[Path]) -> Config:
    """Alembic's settings, without a file."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", _escaped(MIGRATIONS))
    config.set_main_option("path_separator", "newline")
    config.set_main_option("version_locations", "\n".join(_escaped(one) for one in versions))
    return config


def _escaped(path: Path) -> str:
    return str(path).replace("%", "%%")


@cache
def _scripts(versions: tuple[Path, ...]) -> ScriptDirectory:
    from alembic.script import ScriptDirectory

    return ScriptDirectory.from_config(_config(versions))


def upgrade(place: Where, stamp: str, backup_made: bool = False, versions: Sequence[Path] = VERSIONS) -> Upgraded:
    """Bring a shop to the newest schema; a backup comes first.

    Args:
        place: where it is.
        stamp: the time, for the name of the backup: "20261130-095518".
        backup_made: of PostgreSQL: the user says so.
        versions: folders of the migrations.
    Returns: what was done.
    Raises: FileFormatError, InputError; nothing is changed then.
    """
    engine = engine_of(place, foreign_keys=False)
    try:
        with told(place, "nothing was changed"), engine.execution_options(**{WRITES: True}).begin() as connection:
            if place.url is not None:
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _ONE_AT_A_TIME})
            found, ours = schema_of(connection, place), newest(versions)
            if found is None:
                raise FileFormatError(f"{place.shown}: there is no shop in it; make one with setwright shop new.")
            if found == ours:
                return Upgraded(found, ours, None)
            if found not in revisions(versions):
                raise _newer(connection, place, found, ours)
            copy = _backup(place, engine, f"{found}-{stamp}", backup_made)
            make_tables(connection, versions)
            connection.execute(text("UPDATE shop SET written_by = :by"), {"by": written_by()})
            return Upgraded(found, ours, copy)
    finally:
        engine.dispose()


def _backup(place: Where, engine: Engine, mark: str, made: bool) -> Path | None:
    """A copy beside the file, made while the write lock is held; of PostgreSQL the word that there is one."""
    if place.url is not None:
        if not made:
            raise InputError(
                f"{place.shown}: make a backup first, with pg_dump --format=custom --file=shop.dump "
                f"'{place.shown}', then run setwright shop upgrade --backup-made."
            )
        return None
    copy = place.file.with_name(f"shop-before-{mark}.sqlite")
    if copy.exists():
        raise InputError(f"{copy} is there already; nothing was changed, move it away or wait a second.")
    copy_file(engine, copy)
    return copy
