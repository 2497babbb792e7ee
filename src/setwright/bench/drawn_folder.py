"""Several drawings put into a folder: all of them or none."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from setwright.bench.drawn import _usual_mode
from setwright.errors import InputError


def put_drawings(folder: str, drawings: Mapping[str, str]) -> tuple[str, ...]:
    """Write several drawings into a folder, which is made where it is missing: all of them or none.

    Args:
        folder: its name.
        drawings: SVG documents by the names of their files.
    Returns: paths of the files.
    Raises: InputError where the name is no place for a folder, or a file cannot be written; what stood there before
        then stands there still.
    """
    if not folder or "\0" in folder:
        raise InputError(f"--draw: {folder!r} is no name of a folder; write for instance --draw drawings.")
    path, made = Path(folder), False
    beside: list[tuple[Path, Path]] = []
    try:
        _free(path, drawings)
        if not path.exists():
            path.mkdir()
            made = True
        for name, drawing in drawings.items():
            beside.append((_written(path, drawing), path / name))
        for temporary, target in beside:
            temporary.chmod(target.stat().st_mode & 0o777 if target.exists() else _usual_mode())
        for temporary, target in beside:
            temporary.replace(target)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"--draw: {folder} cannot be written: {reason}; choose another place.") from None
    finally:
        _cleared([one for one, _ in beside], path if made else None)
    return tuple(str(path / name) for name in drawings)


def _free(path: Path, names: Iterable[str]) -> None:
    """Refuse what is no folder, and a folder in which something else than a file bears a drawing's name."""
    if path.exists() and not path.is_dir():
        raise InputError(f"--draw: {path} is a file, not a folder; write the name of a folder, new or old.")
    for name in names:
        if (path / name).exists() and not (path / name).is_file():
            raise InputError(f"--draw: {path / name} is no file, so no drawing can take its place; choose another.")


def _written(folder: Path, drawing: str) -> Path:
    """A file beside its place, whole on the disk."""
    handle, beside = tempfile.mkstemp(prefix=".drawing-", suffix=".svg", dir=folder)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(drawing)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        with suppress(OSError):
            Path(beside).unlink()
        raise
    return Path(beside)


def _cleared(files: Iterable[Path], folder: Path | None) -> None:
    """Take away what is left of an attempt; a folder stays where drawings are in it."""
    for one in files:
        with suppress(OSError):
            one.unlink()
    if folder is not None:
        with suppress(OSError):
            folder.rmdir()
