"""A shop read back from the layout it was exported in: into a shop with nothing in it, all of it or nothing."""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, MetaData, Table, delete, func, select, text

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.records.bulk import insert_rows
from setwright.records.content import FOLDER, Contents, InFolder, InTable
from setwright.records.engine import APPLICATION, WRITES, Where, engine_of, told, where
from setwright.records.exchange import CONTENTS, EXPORTED, MANIFEST, TABLES, disk, over
from setwright.records.exchange_schema import LAYOUT, LEFT_OUT, SHA256, VERSION, Reader, WrongError, parse
from setwright.records.ids import is_id
from setwright.records.schema import VERSIONS, make_tables, migrate, newest, revisions, schema_of, written_by
from setwright.records.shop import Shop, Work, open_shop
from setwright.records.tables import METADATA, SHOP

LONGEST = 64_000_000  # bytes of one line
_PIECE = 1 << 20  # bytes
_TAIL = "nothing was imported"


@frozen
class Source:
    """An exported shop, before its lines are read. tables: rows and SHA-256 of each; owner: as in the manifest."""

    folder: Path
    schema: str
    sha256: str
    owner: str | None
    tables: dict[str, tuple[int, str]]
    files: int
    size: int


@frozen
class Imported:
    """A shop imported. where: as messages name it. sha256: over everything that was read."""

    where: str
    name: str
    sha256: str
    rows: dict[str, int]
    files: int
    size: int


def import_shop(folder: Path, at: str | Path, versions: Sequence[Path] = VERSIONS) -> Imported:
    """Read an exported shop into one that is empty, or that is made for it, in one transaction.

    Args:
        folder: as `exchange.export` wrote it.
        at: a new folder or the URL of an empty database, or a shop with nothing in it.
        versions: folders of the migrations.
    Returns: what was read; it is on the disk.
    Raises: FileFormatError for a layout that is damaged, InputError; nothing is imported then.
    """
    source = read_manifest(folder, versions)
    place = where(at)
    with disk(folder, _TAIL):
        name = _into_new(source, place, versions) if _is_new(place) else _into_empty(source, at, versions)
    rows = {name: count for name, (count, _) in source.tables.items()}
    return Imported(place.shown, name, source.sha256, rows, source.files, source.size)


def read_manifest(folder: Path, versions: Sequence[Path] = VERSIONS) -> Source:
    """What an exported shop says it holds.

    Args:
        folder: of it.
        versions: folders of the migrations.
    Returns: the source; nothing but the manifest was read.
    Raises: FileFormatError for a manifest that is damaged or of a newer schema, InputError for no such folder.
    """
    if not folder.is_dir():
        raise InputError(f"{folder} is no folder; name one that setwright shop export wrote.")
    path = folder / MANIFEST
    try:
        with path.open("rb") as handle:
            said = parse(handle.read(_PIECE))
        return _source(folder, said, versions)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileFormatError(f"{path}: {reason}; {_TAIL}, name a folder that setwright shop export wrote.") from None
    except WrongError as error:
        raise FileFormatError(f"{path}: {error}; {_TAIL}, export the shop again.") from None


def _source(folder: Path, said: Any, versions: Sequence[Path]) -> Source:
    """The source a manifest tells of; raises WrongError."""
    if type(said) is not dict or said.get("layout") != LAYOUT:
        raise WrongError("this is no manifest of an exported shop")
    if said.get("version") != VERSION:
        raise WrongError(f"it is of version {str(said.get('version'))[:40]!r} of the layout, version {VERSION} is read")
    schema, ours = said.get("schema"), newest(versions)
    if not isinstance(schema, str) or not schema:
        raise WrongError("the name of the schema is missing")
    if schema not in revisions(versions):
        raise FileFormatError(
            f"{folder}: its tables are those of schema {schema[:40]}, this Setwright {written_by()} knows {ours} at "
            f"most; {_TAIL}, run pip install --upgrade setwright."
        )
    tables = {name: _entry(name, one) for name, one in _object(said, "tables").items()}
    contents = _object(said, "contents")
    files, size, owner = contents.get("files"), contents.get("bytes"), said.get("owner")
    if type(files) is not int or type(size) is not int or not (owner is None or (type(owner) is str and is_id(owner))):
        raise WrongError("contents or owner are not what they must be")
    sha256 = over({name: one[1] for name, one in tables.items()})
    if said.get("sha256") != sha256:
        raise WrongError("its hash over all tables is not that of the hashes it lists")
    return Source(folder, schema, sha256, owner, tables, files, size)


def _object(said: dict[str, Any], name: str) -> dict[str, Any]:
    found = said.get(name)
    if type(found) is not dict:
        raise WrongError(f"{name} are missing")
    return found


def _entry(name: str, said: Any) -> tuple[int, str]:
    rows, sha256 = (said.get("rows"), said.get("sha256")) if type(said) is dict else (None, None)
    if type(rows) is not int or rows < 0 or type(sha256) is not str or not SHA256.fullmatch(sha256):
        raise WrongError(f"rows and sha256 of table {name[:40]!r} are missing or wrong")
    return rows, sha256


def _is_new(place: Where) -> bool:
    """Whether there is no shop yet."""
    if place.folder is not None:
        return not place.file.exists()
    engine = engine_of(place)
    try:
        with told(place, _TAIL), engine.connect() as connection:
            return schema_of(connection, place) is None
    finally:
        engine.dispose()


def _into_empty(source: Source, at: str | Path, versions: Sequence[Path]) -> str:
    """Fill a shop that is there with nothing in it."""
    kept: list[str] = []
    with open_shop(at) as shop:
        if source.schema != newest(versions):
            raise InputError(
                f"{source.folder}: its tables are those of schema {source.schema}; import it to a new place, where its "
                "tables are made and brought up to date."
            )
        try:
            with shop.writing() as work:
                _check_empty(shop, work)
                work.connection.execute(delete(SHOP))
                _fill(work, source, METADATA, kept)
                return _name(work)
        except BaseException:
            _forget(work.contents, kept)
            raise


def _check_empty(shop: Shop, work: Work) -> None:
    if shop.place.url is not None:
        for table in METADATA.sorted_tables:
            work.connection.exec_driver_sql(f'LOCK TABLE "{table.name}" IN EXCLUSIVE MODE')
    for table in METADATA.sorted_tables:
        if table is not SHOP and work.connection.execute(select(table).limit(1)).first() is not None:
            raise InputError(
                f"{shop.place.shown} is not empty, there are rows in its table {table.name}; import to a new place."
            )


def _into_new(source: Source, place: Where, versions: Sequence[Path]) -> str:
    """Make a shop with the tables of the source, fill it, then bring the tables up to date."""
    if place.folder is None:
        return _made(source, place, InTable(), versions)
    folder = place.file.parent
    was = folder.exists()
    with told(place, _TAIL):
        if was and (not folder.is_dir() or any(folder.iterdir())):
            raise InputError(f"{place.shown} is there already and not empty; name a new folder.")
        (folder / FOLDER).mkdir(parents=True)
    try:
        return _made(source, place, InFolder(place.folder), versions)
    except BaseException:
        for one in folder.iterdir():  # all of it is ours: the folder was new or empty
            shutil.rmtree(one) if one.is_dir() else one.unlink()
        if not was:
            folder.rmdir()
        raise


def _made(source: Source, place: Where, contents: Contents, versions: Sequence[Path]) -> str:
    engine = engine_of(place, create=True, foreign_keys=False)
    try:
        with told(place, _TAIL), engine.execution_options(**{WRITES: True}).begin() as connection:
            if connection.dialect.name == "sqlite":
                connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION}")
            migrate(connection, source.schema, versions)
            work = Work(connection, contents, place, "")
            _fill(work, source, _tables_of(connection, source, versions), [])
            make_tables(connection, versions, source.schema)
            return _name(work)
    finally:
        engine.dispose()


def _tables_of(connection: Connection, source: Source, versions: Sequence[Path]) -> MetaData:
    """The tables as they stand: ours, or those of the older schema as the database tells them."""
    if source.schema == newest(versions) and versions == VERSIONS:
        return METADATA
    found = MetaData()
    found.reflect(connection)
    found.remove(found.tables["alembic_version"])
    return found


def _name(work: Work) -> str:
    return str(work.connection.execute(text("SELECT name FROM shop")).scalar_one())


def _forget(contents: Contents, kept: Sequence[str]) -> None:
    """Take away the files of contents whose rows were not kept."""
    if isinstance(contents, InFolder):
        for sha256 in kept:
            contents.path(sha256).unlink(missing_ok=True)


def _fill(work: Work, source: Source, tables: MetaData, kept: list[str]) -> None:
    """Insert everything, parents first; each file is read once and must be what the manifest says."""
    wanted = {one.name: one for one in tables.sorted_tables if one.name not in LEFT_OUT}
    if more := sorted(source.tables.keys() - wanted.keys()):
        raise _damaged(source, f"the table {more[0][:40]!r} is not known")
    if less := sorted(wanted.keys() - source.tables.keys()):
        raise _damaged(source, f"the table {less[0]!r} is missing")
    for path in sorted((source.folder / TABLES).glob("*.jsonl")):
        if path.stem not in wanted:
            raise _damaged(source, f"the table {path.stem[:40]!r} is not known")
    for table in wanted.values():
        insert_rows(work, table, _rows(source, table))
    count = work.connection.execute(select(func.count()).select_from(wanted["shop"])).scalar_one()
    if count != 1:
        raise _damaged(source, f"there are {count} rows of the shop itself, one is needed")
    _contents(work, source, kept)


def _damaged(source: Source, what: str) -> FileFormatError:
    return FileFormatError(f"{source.folder}: {what}; {_TAIL}, export the shop again.")


def _inside(source: Source, *parts: str) -> Path:
    """A file of the layout; one that is missing or leads elsewhere is refused."""
    path = source.folder.joinpath(*parts)
    if not path.resolve().is_relative_to(source.folder.resolve()):
        raise _damaged(source, f"{'/'.join(parts)} leads out of the folder")
    if not path.is_file():
        raise _damaged(source, f"{'/'.join(parts)} is missing")
    return path


def _rows(source: Source, table: Table) -> Iterator[list[Any]]:
    """The rows of a table; its hash and its number of rows are compared at the end."""
    name = f"{TABLES}/{table.name}.jsonl"
    count, sha256 = source.tables[table.name]
    reader, digest, number = Reader(table), hashlib.sha256(), 0
    check = _document if table.name == "document" else None
    with _inside(source, TABLES, f"{table.name}.jsonl").open("rb") as handle:
        while line := handle.readline(LONGEST):
            number += 1
            digest.update(line)
            try:
                row = reader.row(line)
                if check is not None:
                    check(dict(zip(table.columns.keys(), row, strict=True)))
            except WrongError as error:
                raise _damaged(source, f"{name}, line {number}: {error}") from None
            yield row
    if digest.hexdigest() != sha256 or number != count:
        raise _damaged(source, f"{name} is not the file that was exported, its hash or its number of lines differ")


def _document(row: dict[str, Any]) -> None:
    if hashlib.sha256(row["text"].encode()).hexdigest() != row["sha256"]:
        raise WrongError("the text is not the one of its hash")


def _contents(work: Work, source: Source, kept: list[str]) -> None:
    """Keep every content, once its bytes are those of its name."""
    files, size = 0, 0
    table = next(one for one in EXPORTED if one.name == "content")
    names = [one.name for one in table.columns]
    for row in _rows(source, table):
        said = dict(zip(names, row, strict=True))
        path = _inside(source, CONTENTS, said["sha256"][:2], said["sha256"])
        _check(source, path, said)
        with path.open("rb") as handle:
            kept.append(said["sha256"])
            work.contents.put(work.connection, said["sha256"], handle)
        files, size = files + 1, size + said["size"]
    if (files, size) != (source.files, source.size):
        raise _damaged(source, "the number of contents or of their bytes is not what the manifest says")


def _check(source: Source, path: Path, said: dict[str, Any]) -> None:
    digest = hashlib.sha256()
    with path.open("rb") as handle:
        read: Callable[[], bytes] = lambda: handle.read(_PIECE)  # noqa: E731
        for piece in iter(read, b""):
            digest.update(piece)
        length = os.fstat(handle.fileno()).st_size
    if digest.hexdigest() != said["sha256"] or length != said["size"]:
        raise _damaged(source, f"content {said['sha256']} is not the file of that hash and size")
