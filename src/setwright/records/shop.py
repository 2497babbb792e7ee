"""A shop's records, opened: readings of it and writings to it, each one transaction."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import field
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import Connection, Engine, insert, select

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.records.content import FOLDER, Contents, InFolder, InTable
from setwright.records.engine import APPLICATION, FILE, WRITES, Where, engine_of, told, where
from setwright.records.ids import new_id
from setwright.records.schema import check_schema, make_tables, schema_of, written_by
from setwright.records.tables import SHOP


@frozen
class Work:
    """One transaction on a shop. who: works here, for what the shop notes about changes. now: when it began, in UTC,
    as the tables keep it. place: of the shop, for messages."""

    connection: Connection
    contents: Contents
    place: Where
    now: str
    who: str = ""


@frozen
class Shop:
    """A shop that is open. id, name: its own. Close it, or use it in a `with`."""

    place: Where
    engine: Engine
    contents: Contents
    id: str = ""
    name: str = ""
    path: Path | None = field(default=None)

    @contextmanager
    def reading(self) -> Iterator[Work]:
        """A look at one state of the shop, whatever others write meanwhile.

        Raises: InputError, FileFormatError where the database cannot be read.
        """
        options = {} if self.place.url is None else {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        with told(self.place), self.engine.connect().execution_options(**options) as connection, connection.begin():
            yield Work(connection, self.contents, self.place, _now())

    @contextmanager
    def writing(self, who: str = "") -> Iterator[Work]:
        """All that is written inside, or nothing; it is on the disk when the block ends.

        Args:
            who: works here.
        Raises: InputError, FileFormatError where it cannot be written; nothing is then.
        """
        engine = self.engine.execution_options(**{WRITES: True})
        with told(self.place, "nothing was written"), engine.begin() as connection:
            yield Work(connection, self.contents, self.place, _now(), who)

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _now() -> str:
    return stamp(datetime.now(UTC))


def stamp(when: datetime) -> str:
    """A time as the tables keep it.

    Args:
        when: with its zone.
    Returns: in UTC to the millisecond, e.g. "2026-11-30T09:55:18.250Z".
    """
    return when.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def alone(work: Work) -> None:
    """Wait until no other bench adds owners, jobs, parts or specifications, and keep them waiting until this is done.

    Args:
        work: writing.
    """
    work.connection.execute(select(SHOP.c.id).with_for_update())


def open_shop(at: str | Path) -> Shop:
    """Open a shop.

    Args:
        at: its folder, or postgresql://user@host/database.
    Returns: the shop.
    Raises: InputError, FileFormatError: one sentence, with the command that helps.
    """
    place = where(at)
    if place.url is None:
        _check_file(place)
    engine = engine_of(place)
    try:
        with told(place), engine.connect() as connection:
            check_schema(connection, place)
            row = connection.execute(select(SHOP)).one_or_none()
        if row is None:
            raise FileFormatError(f"{place.shown}: the shop has lost its own row; bring back the last backup.")
    except BaseException:
        engine.dispose()
        raise
    return Shop(place, engine, _contents(place), row.id, row.name, place.folder)


def new_shop(at: str | Path, name: str) -> Shop:
    """Make a shop with nothing in it, and open it.

    Args:
        at: a folder, made when it does not exist, or the URL of an empty database.
        name: what the shop is called.
    Returns: the shop.
    Raises: InputError where there is something already, or it cannot be made; nothing is left then.
    """
    place = where(at)
    if not name.strip() or not name.isprintable() or len(name) > 200:
        raise InputError(f"{name[:40]!r} is no name of a shop; write up to 200 characters on one line.")
    if place.url is not None:
        _fill(place, name)
        return open_shop(at)
    folder = place.file.parent
    was = folder.exists()
    with told(place, "no shop was made"):
        if was and (not folder.is_dir() or any(folder.iterdir())):
            raise InputError(f"{place.shown} is there already and not empty; name a new folder.")
        folder.mkdir(parents=True, exist_ok=True)
        _claim(place, was)
    try:
        _fill(place, name)
        with told(place, "no shop was made"):
            (folder / FOLDER).mkdir()
    except BaseException:
        for one in folder.iterdir():  # all of it is ours: the folder was new or empty, and we had the file first
            shutil.rmtree(one) if one.is_dir() else one.unlink()
        if not was:
            folder.rmdir()
        raise
    return open_shop(at)


def _claim(place: Where, was: bool) -> None:
    """Of benches that found the same empty folder one makes the file; the others leave it alone."""
    try:
        place.file.open("xb").close()
    except FileExistsError:
        raise InputError(f"{place.shown} is there already and not empty; name a new folder.") from None
    except OSError:
        if not was:
            place.file.parent.rmdir()
        raise


def _fill(place: Where, name: str) -> None:
    engine = engine_of(place, create=True, foreign_keys=False)
    try:
        with told(place, "no shop was made"), engine.execution_options(**{WRITES: True}).begin() as connection:
            if schema_of(connection, place) is not None:
                raise InputError(f"{place.shown} holds a shop already; open it with --shop {place.shown}.")
            if place.url is None:
                connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION}")
            make_tables(connection)
            row = {"id": new_id(), "name": name, "made": _now(), "written_by": written_by()}
            connection.execute(insert(SHOP), row)
    finally:
        engine.dispose()


def _contents(place: Where) -> Contents:
    return InTable() if place.folder is None else InFolder(place.folder)


def _check_file(place: Where) -> None:
    """Refuse what is no folder with a shop in it, before anything is opened."""
    file = place.file
    with told(place):
        if not file.parent.is_dir():
            what = "is no folder" if file.parent.exists() else "does not exist"
            raise InputError(f"{place.shown} {what}; name the folder of a shop, or make one with setwright shop new.")
        if not file.is_file():
            raise InputError(
                f"{place.shown}: there is no {FILE} in it; name the folder of a shop, or make one with setwright shop "
                "new."
            )
        with file.open("rb") as handle:
            head = handle.read(72)
    if not head.startswith(b"SQLite format 3\0") or len(head) < 72:
        raise FileFormatError(f"{file}: the file is empty, cut off or no database; bring back the last backup.")
    if int.from_bytes(head[68:72]) != APPLICATION:
        raise FileFormatError(f"{file}: this database is no shop; name another folder, it was left as it is.")
