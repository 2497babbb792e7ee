"""A drawing or a sheet put into a file: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path

from setwright.errors import InputError


def put_drawing(name: str, drawing: str) -> None:
    """Write a drawing beside its name first, then put it in its place in one move.

    Args:
        name: of the file.
        drawing: an SVG document.
    Raises: InputError where the name is no place for a file; what stood there before then stands there still.
    """
    put_bytes(name, drawing.encode(), "--svg", "drawing.svg")


def put_bytes(name: str, content: bytes, option: str, example: str, over: bool = True) -> None:
    """The same for any content.

    Args:
        name: of the file.
        content: what it shall hold.
        option: that named it, for messages.
        example: a name to write.
        over: whether a file that stands there may be replaced.
    Raises: InputError where the name is no place for a file, or one stands there and may not be replaced; what stood
        there before then stands there still.
    """
    if not name or "\0" in name:
        raise InputError(f"{option}: {name!r} is no name of a file; write for instance {option} {example}.")
    path = Path(name)
    try:
        if path.exists() and not path.is_file():
            raise InputError(f"{option}: {name} is a folder or a device, not a file; write the name of a file to make.")
        if path.exists() and not over:
            raise InputError(f"{option}: {name} stands there already; choose another name, or replace it with --force.")
        kept = path.stat().st_mode & 0o777 if path.exists() else None
        _replace(path.resolve(), content, kept)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"{option}: {name} cannot be written: {reason}; choose another place.") from None


def _replace(path: Path, content: bytes, mode: int | None) -> None:
    handle, beside = tempfile.mkstemp(prefix=".drawing-", suffix=path.suffix, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(beside).chmod(_usual_mode() if mode is None else mode)
        Path(beside).replace(path)
    except BaseException:
        with suppress(OSError):
            Path(beside).unlink()
        raise


def _usual_mode() -> int:
    """Permissions of a file made in the usual way."""
    mask = os.umask(0o022)
    os.umask(mask)
    return 0o666 & ~mask
