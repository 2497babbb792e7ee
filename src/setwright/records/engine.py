"""The way to a database: SQLite in a folder or PostgreSQL by URL, and what their errors mean in one sentence."""

from __future__ import annotations

import os
import random
import re
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, Engine, Table, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.pool import QueuePool

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen

FILE = "shop.sqlite"
APPLICATION = 0x53485750  # marks the SQLite file as a shop (PRAGMA application_id)
PATIENCE = 30  # s to wait for another writer
_PAUSE = 6e-3  # s between two tries at most
WRITES = "setwright_writes"
_DRIVER = "postgresql+psycopg"
_BENCHES = 5  # connections kept open by one process


@frozen
class Where:
    """Where a shop is. folder: of its SQLite file and contents, or None; url: of the PostgreSQL database, or None."""

    folder: Path | None = None
    url: URL | None = None

    @property
    def file(self) -> Path:
        """The SQLite file of a folder."""
        assert self.folder is not None
        return self.folder / FILE

    @property
    def shown(self) -> str:
        """For messages: the path, or the URL without its password."""
        return str(self.folder) if self.url is None else self.url.set(drivername="postgresql").render_as_string()


def where(text: str | Path) -> Where:
    """A shop's place from what was written.

    Args:
        text: path of a folder, or postgresql://user@host/database.
    Returns: the place; nothing is opened.
    Raises: InputError for an empty name or another kind of URL.
    """
    written = str(text)
    if not written.strip() or "\0" in written:
        raise InputError(
            "no shop is named; give --shop FOLDER or set SETWRIGHT_SHOP, to a folder or to postgresql://host/database."
        )
    if "://" not in written:
        return Where(folder=Path(written).expanduser())
    try:
        url = make_url(written)
    except (ArgumentError, ValueError):
        raise InputError(f"{_without_password(written)} is no URL; write postgresql://user@host/database.") from None
    if url.drivername not in ("postgresql", "postgres", _DRIVER) or not url.database:
        raise InputError(
            f"{_without_password(written)} cannot be a shop; write postgresql://user@host/database, or name a folder."
        )
    return Where(url=url.set(drivername=_DRIVER))


def _without_password(written: str) -> str:
    return re.sub(r"(//[^:/@]*):[^@]*@", r"\1:***@", written)[:120]


def engine_of(place: Where, create: bool = False, foreign_keys: bool = True) -> Engine:
    """An engine for a shop.

    Args:
        place: where it is.
        create: a missing SQLite file is made.
        foreign_keys: SQLite watches them; off only while tables are rebuilt.
    Returns: the engine. Connections with the execution option `WRITES` take SQLite's write lock when they begin.
    Raises: InputError where the driver of PostgreSQL is missing.
    """
    if place.url is not None:
        return _postgresql(place.url)
    uri = f"file:{quote(str(place.file.absolute()))}?mode={'rwc' if create else 'rw'}"

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(uri, uri=True, timeout=PATIENCE, isolation_level=None, check_same_thread=False)

    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool, pool_size=_BENCHES, max_overflow=-1)

    @event.listens_for(engine, "connect")
    def _set_up(connection: sqlite3.Connection, _record: object) -> None:
        for pragma in (
            "journal_mode = WAL",
            "synchronous = FULL",
            "recursive_triggers = ON",
            f"foreign_keys = {'ON' if foreign_keys else 'OFF'}",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(WRITES, False)
        connection.exec_driver_sql(f"PRAGMA query_only = {'OFF' if writes else 'ON'}")
        if writes:
            _take_turn(connection)
        else:
            connection.exec_driver_sql("BEGIN")

    return engine


def _take_turn(connection: Connection) -> None:
    """Begin to write as soon as nobody else does. SQLite's own waiting asks ever more rarely, so that a bench which has
    waited long is passed by those that just came; here it asks ever more often."""
    driver: Any = connection.connection.driver_connection
    begun = time.monotonic()
    driver.execute("PRAGMA busy_timeout = 0")
    try:
        while True:
            try:
                driver.execute("BEGIN IMMEDIATE")
                return
            except sqlite3.OperationalError as error:
                waited = time.monotonic() - begun
                if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or waited > PATIENCE:
                    raise
            time.sleep(_PAUSE * random.random() / (1.0 + waited))
    finally:
        driver.execute(f"PRAGMA busy_timeout = {1000 * PATIENCE:.0f}")


def copy_file(engine: Engine, target: Path) -> None:
    """Copy the SQLite database as it is at this moment into a new file; the copy is on the disk when this returns.

    Args:
        engine: of a folder.
        target: of a file that does not exist.
    Raises: what the driver raises.
    """
    pooled = engine.raw_connection()  # outside of SQLAlchemy's transactions: VACUUM refuses to run inside one
    try:
        driver = pooled.driver_connection
        assert isinstance(driver, sqlite3.Connection)
        driver.execute("PRAGMA query_only = OFF")
        driver.execute("VACUUM INTO ?", (str(target),))
    finally:
        pooled.close()
    with target.open("rb") as handle:
        os.fsync(handle.fileno())


def put_once(connection: Connection, table: Table, row: dict[str, Any]) -> bool:
    """Add a row, unless there is one of its key; another bench that adds the same one at this moment is waited for.

    Args:
        connection: writing.
        table: where.
        row: column -> value.
    Returns: whether it was added.
    """
    make: Any = import_module(f"sqlalchemy.dialects.{connection.dialect.name}").insert  # the other is slow to load
    once = make(table).values(row).on_conflict_do_nothing().execution_options(preserve_rowcount=True)
    return connection.execute(once).rowcount == 1


def _postgresql(url: URL) -> Engine:
    try:
        import psycopg  # noqa: F401 - only whether it is there
    except ImportError:
        raise InputError(
            "a shop on PostgreSQL needs the driver psycopg; install it with pip install 'setwright[postgres]'."
        ) from None
    return create_engine(url, pool_size=_BENCHES, max_overflow=-1, pool_pre_ping=True)


@contextmanager
def told(place: Where, doing: str = "") -> Iterator[None]:
    """Turn what a database or a disk complains of inside into one sentence.

    Args:
        place: where the shop is.
        doing: "", or what was not done, e.g. "nothing was written".
    """
    tail = f"; {doing}" if doing else ""
    try:
        yield
    except DBAPIError as error:
        raise sentence(place, error.orig or error, tail) from None
    except sqlite3.Error as error:
        raise sentence(place, error, tail) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"{place.shown}: {reason}{tail}; check the disk and the permissions.") from None


_BEGIN = 200_000  # bytes SQLite needs for its log and what goes with it


def _full(place: Where) -> bool:
    """Whether the disk of a folder has no room for SQLite to work."""
    if place.folder is None:
        return False
    try:
        return shutil.disk_usage(place.folder).free < _BEGIN
    except OSError:
        return False


_MEANS = (
    (r"disk is full|No space left|could not extend file", "the disk is full{tail}; make room and do it again."),
    (
        r"not a database|malformed|file is encrypted|disk image",
        "the file {file} is damaged or no database{tail}; bring back the last backup, setwright shop check tells what "
        "is wrong.",
    ),
    (
        r"database is locked|lock timeout|canceling statement due to lock|deadlock",
        "another bench has been writing for a long time{tail}; try again.",
    ),
    (
        r"readonly|read-only|permission denied|unable to open",
        "the database cannot be opened for writing{tail}; check the path and the permissions.",
    ),
    (r"is only added to", "{reason}{tail}; add a row that corrects it."),
    (r"disk I/O error", "the disk does not answer{tail}; check it, then run setwright shop check."),
    (
        r"connection (?:failed|refused|timeout)|could not (?:connect|translate)|server closed|terminating connection|"
        r"connection is (?:bad|lost|closed)|does not exist|password|authentication|role",
        "the database server refuses: {reason}{tail}; check the URL and that the server runs.",
    ),
    (r"FOREIGN KEY|foreign key", "a row names another one that does not exist{tail}; check the ids."),
    (r"UNIQUE|unique", "there is such a row already{tail}; change the existing one."),
)


def sentence(place: Where, error: BaseException, tail: str = "") -> InputError:
    """What an error of a database means.

    Args:
        place: where the shop is.
        error: of the driver.
        tail: what was not done, with "; " in front, or "".
    Returns: the error to raise.
    """
    reason = " ".join(re.split(r"CONTEXT:|DETAIL:", str(error))[0].split()).rstrip(".")[:200]
    if "disk I/O error" in reason and _full(place):  # what SQLite says where not even its log can be begun
        reason = "disk is full"
    for pattern, meaning in _MEANS:
        if re.search(pattern, reason):
            words = meaning.format(tail=tail, reason=reason, file=FILE)
            kind = FileFormatError if "damaged" in words else InputError
            return kind(f"{place.shown}: {words}")
    return InputError(f"{place.shown}: the database refuses: {reason}{tail}; run setwright shop check.")
