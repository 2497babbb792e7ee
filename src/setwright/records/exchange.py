"""A shop written out whole, in a layout anyone can read: JSON Lines, files by their hash, and a manifest over both.

docs/shop-exchange.md describes it; `exchange_schema` makes the description of every line from the tables.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import ColumnElement, Table, select

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.records.exchange_schema import LAYOUT, LEFT_OUT, VERSION, Node, fields_of, schema
from setwright.records.schema import newest
from setwright.records.shop import Shop, Work
from setwright.records.tables import CONTENT, METADATA

MANIFEST = "manifest.json"
SCHEMA = "schema.json"
TABLES = "tables"
CONTENTS = "contents"
AT_ONCE = 1_000  # rows fetched together
EXPORTED = tuple(one for one in METADATA.sorted_tables if one.name not in LEFT_OUT)
Only = Mapping[str, ColumnElement[bool]]


@frozen
class Exported:
    """A shop exported. sha256: over everything. rows: by table; files, size: number of contents and their bytes."""

    path: Path
    sha256: str
    rows: dict[str, int]
    files: int
    size: int


def export(shop: Shop, folder: Path, only: Only | None = None, owner: str | None = None) -> Exported:
    """Write a shop into a folder, as it is at this moment; others may go on working.

    Args:
        shop: open.
        folder: new, or empty.
        only: conditions by table; a table that is not named is left empty. None: everything.
        owner: id of the owner whose data these are, None for the whole shop.
    Returns: what was written; it is on the disk.
    Raises: InputError, FileFormatError; nothing is left then.
    """
    may_fill(folder)
    if shop.place.folder is not None and folder.resolve().is_relative_to(shop.place.folder.resolve()):
        raise InputError(f"{folder} lies in the shop itself; name a folder elsewhere.")
    part: Path | None = None
    try:
        with shop.reading() as work, disk(folder, "nothing was exported"):
            part = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}-"))
            part.chmod(0o755)
            done = _written(work, part, shop.name, only, owner)
            if folder.exists():
                folder.rmdir()
            part.rename(folder)
            _sync(folder.parent)
    finally:
        if part is not None:
            shutil.rmtree(part, ignore_errors=True)
    return Exported(folder, done["sha256"], {name: one["rows"] for name, one in done["tables"].items()},
                    done["contents"]["files"], done["contents"]["bytes"])  # fmt: skip


def may_fill(folder: Path) -> None:
    """Refuse a folder that cannot be filled.

    Args:
        folder: new, or empty.
    Raises: InputError.
    """
    if "\0" in str(folder) or not folder.name:
        raise InputError("no folder is named; write for instance shop-2026-11-30.")
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise InputError(f"{folder} is there already and no folder; name a new one.")
    if folder.is_dir() and any(folder.iterdir()):
        raise InputError(f"{folder} is there already and not empty; name a new folder.")
    if not folder.parent.is_dir():
        raise InputError(f"{folder.parent} is no folder; name a new folder in one that exists.")


@contextmanager
def disk(folder: Path, nothing: str) -> Iterator[None]:
    """Say in one sentence what the disk refuses.

    Args:
        folder: that is read or written.
        nothing: what was not done then.
    Raises: InputError.
    """
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"{folder}: {reason}; {nothing}, check the disk and the permissions.") from None


def _written(work: Work, part: Path, name: str, only: Only | None, owner: str | None) -> Node:
    """Write everything but the name of the folder; returns the manifest."""
    (part / TABLES).mkdir()
    (part / CONTENTS).mkdir()
    tables = {one.name: _table(work, part, one, only) for one in EXPORTED}
    files, size = _contents(work, part, only)
    manifest = {
        "layout": LAYOUT, "version": VERSION, "schema": newest(), "shop": name, "owner": owner, "tables": tables,
        "contents": {"files": files, "bytes": size},
        "sha256": over({one: entry["sha256"] for one, entry in tables.items()}),
    }  # fmt: skip
    for file, node in ((SCHEMA, schema()), (MANIFEST, manifest)):
        _text(part / file, json.dumps(node, ensure_ascii=False, indent=1, sort_keys=True) + "\n")
    for one in (part / TABLES, part / CONTENTS, part):
        _sync(one)
    return manifest


def over(tables: Mapping[str, str]) -> str:
    """The hash over everything: what `LC_ALL=C sha256sum tables/*.jsonl | sha256sum` prints.

    Contents are held by their table: their names are their hashes.

    Args:
        tables: SHA-256 of the file of each table.
    Returns: SHA-256.
    """
    lines = sorted((f"{TABLES}/{name}.jsonl", sha256) for name, sha256 in tables.items())
    return hashlib.sha256("".join(f"{sha256}  {path}\n" for path, sha256 in lines).encode()).hexdigest()


def _table(work: Work, part: Path, table: Table, only: Only | None) -> Node:
    fields, digest, count = fields_of(table), hashlib.sha256(), 0
    rows = select(*(table.columns[name] for name in fields.names)).order_by(*(table.columns[one] for one in fields.key))
    with (part / TABLES / f"{table.name}.jsonl").open("xb") as handle:
        if only is None or table.name in only:
            wanted = rows if only is None else rows.where(only[table.name])
            with work.connection.execute(wanted.execution_options(yield_per=AT_ONCE)) as found:
                for row in found:
                    line = fields.line(row)
                    digest.update(line)
                    handle.write(line)
                    count += 1
        handle.flush()
        os.fsync(handle.fileno())
    return {"rows": count, "sha256": digest.hexdigest()}


def _contents(work: Work, part: Path, only: Only | None) -> tuple[int, int]:
    """Every content as a file; returns how many, and their bytes together."""
    if only is not None and CONTENT.name not in only:
        return 0, 0
    files, size = 0, 0
    after = ""
    wanted = select(CONTENT.c.sha256, CONTENT.c.size).order_by(CONTENT.c.sha256).limit(AT_ONCE)
    if only is not None:
        wanted = wanted.where(only[CONTENT.name])
    while rows := work.connection.execute(wanted.where(CONTENT.c.sha256 > after)).all():
        for sha256, length in rows:
            _content(work, part, sha256, length)
            files, size, after = files + 1, size + length, sha256
    return files, size


def _content(work: Work, part: Path, sha256: str, length: int) -> None:
    home = part / CONTENTS / sha256[:2]
    home.mkdir(exist_ok=True)
    digest, count = hashlib.sha256(), 0
    with (home / sha256).open("xb") as handle:
        for piece in work.contents.chunks(work.connection, sha256):
            digest.update(piece)
            count += len(piece)
            handle.write(piece)
        handle.flush()
        os.fsync(handle.fileno())
    if digest.hexdigest() != sha256 or count != length:
        raise FileFormatError(f"content {sha256} is damaged; nothing was exported, bring it back from a backup first.")


def _text(path: Path, text: str) -> None:
    with path.open("x", encoding="utf-8") as handle:
        handle.write(text)
        handle.flush()
        os.fsync(handle.fileno())


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
