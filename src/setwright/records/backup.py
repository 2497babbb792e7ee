"""A backup of a shop in one file: of a folder a tar archive, of a PostgreSQL database what pg_dump writes."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tarfile
import tempfile
from pathlib import Path

from sqlalchemy import select

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.records.content import FOLDER, InFolder
from setwright.records.engine import FILE, copy_file, told
from setwright.records.shop import Shop
from setwright.records.tables import CONTENT


@frozen
class Backup:
    """A backup made. path: of the file; size: bytes; contents: files in it besides the database."""

    path: Path
    size: int
    contents: int


def back_up(shop: Shop, path: Path) -> Backup:
    """Write everything in a shop into one file, as it is at this moment; others may go on working.

    Args:
        shop: open.
        path: of a file that does not exist yet.
    Returns: what was written; it is on the disk.
    Raises: InputError, FileFormatError; no file is left then.
    """
    if path.exists():
        raise InputError(f"{path} is there already; name a new file.")
    if not path.parent.is_dir():
        raise InputError(f"{path.parent} is no folder; name a file in one that exists.")
    if shop.place.folder is not None and path.resolve().is_relative_to(shop.place.folder.resolve()):
        raise InputError(f"{path} lies in the shop itself; name a file on another disk.")
    part = path.with_name(f".{path.name}.part")
    try:
        with told(shop.place, "no backup was made"):
            contents = _dump(shop, part) if shop.place.folder is None else _archive(shop, part)
            with part.open("rb") as handle:
                os.fsync(handle.fileno())
            os.link(part, path)  # refuses a file that came into being meanwhile
    finally:
        part.unlink(missing_ok=True)
    return Backup(path, path.stat().st_size, contents)


def _archive(shop: Shop, part: Path) -> int:
    """The database as one consistent file, then every content it names."""
    assert shop.place.folder is not None
    home = InFolder(shop.place.folder)
    with tempfile.TemporaryDirectory(dir=part.parent, prefix=".backup-") as folder, tarfile.open(part, "w") as archive:
        copy = Path(folder) / FILE
        copy_file(shop.engine, copy)
        with shop.reading() as work:
            names = work.connection.execute(select(CONTENT.c.sha256).order_by(CONTENT.c.sha256)).scalars().all()
            archive.addfile(tarfile.TarInfo(f"{FILE}-wal"))  # an empty log: unpacked over a shop, its old one goes
            archive.add(copy, FILE)
            for sha256 in names:
                digest = hashlib.sha256()
                for piece in work.contents.chunks(work.connection, sha256):
                    digest.update(piece)
                if digest.hexdigest() != sha256:
                    raise FileFormatError(f"content {sha256} is damaged; bring it back from an older backup first.")
                archive.add(home.path(sha256), f"{FOLDER}/{sha256[:2]}/{sha256}")
    return len(names)


def _dump(shop: Shop, part: Path) -> int:
    """What pg_dump writes; contents are rows there."""
    url = shop.place.url
    assert url is not None
    program = shutil.which("pg_dump")
    if program is None:
        raise InputError(
            "pg_dump is not installed here; install PostgreSQL's client programs, or run it on the server."
        )
    plain = url.set(drivername="postgresql")._replace(password=None).render_as_string(hide_password=False)
    env = os.environ | ({"PGPASSWORD": str(url.password)} if url.password else {})
    command = [program, "--format=custom", f"--file={part}", f"--dbname={plain}"]
    done = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    if done.returncode:
        reason = " ".join(done.stderr.split())[:300]
        raise InputError(f"{shop.place.shown}: pg_dump failed: {reason}; no backup was made.")
    with shop.reading() as work:
        return len(work.connection.execute(select(CONTENT.c.sha256)).all())
