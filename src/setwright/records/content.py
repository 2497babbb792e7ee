"""Contents of files by the SHA-256 of their bytes: in a folder, or in chunks in a database."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import BinaryIO, Protocol

from sqlalchemy import Connection, insert, select

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.records.engine import put_once
from setwright.records.tables import CONTENT, CONTENT_PART

FOLDER = "content"
LARGEST = 2_000_000_000  # bytes of one file
_CHUNK = 1 << 20  # bytes
_HASH = re.compile(r"[0-9a-f]{64}")


class Contents(Protocol):
    """Where the bytes of contents are."""

    def holds(self, sha256: str) -> bool:
        """Whether the bytes of a content that has its row are there."""

    def put(self, connection: Connection, sha256: str, source: BinaryIO) -> None:
        """Keep the bytes of a new content."""

    def chunks(self, connection: Connection, sha256: str) -> Iterator[bytes]:
        """The bytes of a content, in pieces."""


@frozen
class InFolder:
    """Contents as files: content/ab/abcdef... under the shop's folder."""

    folder: Path

    def path(self, sha256: str) -> Path:
        """Where a content is.

        Args:
            sha256: 64 hexadecimal digits.
        Returns: the path.
        Raises: InputError for anything else, or where the path leads out of the shop.
        """
        if not _HASH.fullmatch(sha256):
            raise InputError(f"{sha256[:80]!r} names no content; it is the SHA-256 of a file, 64 digits.")
        path = self.folder / FOLDER / sha256[:2] / sha256
        home = self.folder.resolve()
        if not path.resolve().is_relative_to(home):
            raise InputError(f"{path} leads out of the shop {home}; put the folder {FOLDER} back in its place.")
        return path

    def holds(self, sha256: str) -> bool:
        """Whether the file is there."""
        return self.path(sha256).is_file()

    def put(self, connection: Connection, sha256: str, source: BinaryIO) -> None:
        """Write the file beside its place, then move it there; it is on the disk when this returns."""
        path = self.path(sha256)
        path.parent.mkdir(parents=True, exist_ok=True)
        with NamedTemporaryFile(dir=path.parent, prefix=".", delete=False) as part:
            try:
                found = _copied(source, part)
                part.flush()
                os.fsync(part.fileno())
                if found != sha256:
                    raise InputError("the file changed while it was read; nothing was kept, give it again.")
                Path(part.name).chmod(0o644)
                Path(part.name).replace(path)
            except BaseException:
                Path(part.name).unlink(missing_ok=True)
                raise
        for folder in (path.parent, path.parent.parent):
            _sync(folder)

    def chunks(self, connection: Connection, sha256: str) -> Iterator[bytes]:
        """The bytes, a megabyte at a time."""
        try:
            with self.path(sha256).open("rb") as handle:
                while part := handle.read(_CHUNK):
                    yield part
        except FileNotFoundError:
            raise FileFormatError(f"content {sha256} is missing; bring it back from a backup.") from None


@frozen
class InTable:
    """Contents as rows of a megabyte each."""

    def holds(self, sha256: str) -> bool:
        """Always: the rows came in one transaction with that of the content."""
        return True

    def put(self, connection: Connection, sha256: str, source: BinaryIO) -> None:
        """Add the rows."""
        digest = hashlib.sha256()
        for number, part in enumerate(iter(lambda: source.read(_CHUNK), b"")):
            digest.update(part)
            connection.execute(insert(CONTENT_PART), {"sha256": sha256, "number": number, "bytes": part})
        if digest.hexdigest() != sha256:
            raise InputError("the file changed while it was read; nothing was kept, give it again.")

    def chunks(self, connection: Connection, sha256: str) -> Iterator[bytes]:
        """The bytes, a row at a time."""
        number = 0
        one = select(CONTENT_PART.c.bytes).where(CONTENT_PART.c.sha256 == sha256)
        while (part := connection.execute(one.where(CONTENT_PART.c.number == number)).scalar()) is not None:
            yield part
            number += 1


def keep(contents: Contents, connection: Connection, source: BinaryIO) -> str:
    """Keep the content of a file, once.

    Args:
        contents: where.
        connection: writing.
        source: open at its beginning; read twice.
    Returns: its SHA-256.
    Raises: InputError for more than `LARGEST` bytes, or a file that changes meanwhile.
    """
    digest, size = hashlib.sha256(), 0
    while part := source.read(_CHUNK):
        digest.update(part)
        size += len(part)
        if size > LARGEST:
            raise InputError(f"the file has more than {LARGEST} bytes; shorten it.")
    sha256 = digest.hexdigest()
    added = put_once(connection, CONTENT, {"sha256": sha256, "size": size})
    if added or not contents.holds(sha256):
        source.seek(0)
        contents.put(connection, sha256, source)
    return sha256


def _copied(source: BinaryIO, target: object) -> str:
    """Copy all; returns the hash of what was copied."""
    digest = hashlib.sha256()
    while part := source.read(_CHUNK):
        digest.update(part)
        target.write(part)  # type: ignore[attr-defined]
    return digest.hexdigest()


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


SIGNATURES = (
    ("image/jpeg", b"\xff\xd8\xff", 0),
    ("image/png", b"\x89PNG\r\n\x1a\n", 0),
    ("image/webp", b"WEBP", 8),
    ("audio/wav", b"WAVE", 8),
    ("audio/flac", b"fLaC", 0),
    ("audio/ogg", b"OggS", 0),
    ("audio/aiff", b"AIFF", 8),
    ("audio/x-caf", b"caff", 0),
    ("audio/mpeg", b"ID3", 0),
    ("audio/mpeg", b"\xff\xfb", 0),
    ("application/pdf", b"%PDF-", 0),
)  # media type, mark, where it stands: of each format's own specification
_FOR = {"photo": "image/", "recording": "audio/", "sheet": "application/pdf"}
_ALLOWED = {"photo": "JPEG, PNG or WebP", "recording": "WAV, FLAC, Ogg, AIFF, CAF or MP3", "sheet": "PDF"}


def media_type(kind: str, name: str, source: BinaryIO) -> str:
    """What a file is, by its bytes.

    Args:
        kind: "photo", "recording", "sheet" or "other".
        name: of the file, for messages.
        source: open; put back to its beginning.
    Returns: the media type; "application/octet-stream" for what is not known, of kind "other".
    Raises: FileFormatError where it is not of its kind.
    """
    head = source.read(16)
    source.seek(0)
    found = next((one for one in SIGNATURES if head[one[2] :].startswith(one[1])), None)
    media = found[0] if found else "application/octet-stream"
    if kind != "other" and not media.startswith(_FOR[kind]):
        raise FileFormatError(f"{name} is no {kind}; {_ALLOWED[kind]} are, or add it as other.")
    return media
