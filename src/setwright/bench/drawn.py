"""A drawing put into a file: whole or not at all."""

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
    if not name or "\0" in name:
        raise InputError(f"--svg: {name!r} is no name of a file; write for instance --svg drawing.svg.")
    path = Path(name)
    try:
        if path.exists() and not path.is_file():
            raise InputError(f"--svg: {name} is a folder or a device, not a file; write the name of a file to make.")
        kept = path.stat().st_mode & 0o777 if path.exists() else None
        _replace(path.resolve(), drawing, kept)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"--svg: {name} cannot be written: {reason}; choose another place.") from None


def _replace(path: Path, drawing: str, mode: int | None) -> None:
    handle, beside = tempfile.mkstemp(prefix=".drawing-", suffix=".svg", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(drawing)
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
