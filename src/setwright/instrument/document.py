"""TOML documents with places: load one, and say of every value in which file, line and field it stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from setwright.errors import FileFormatError
from setwright.frozen import frozen
from setwright.instrument.locate import Path as KeyPath
from setwright.instrument.locate import key_lines, line_of

LARGEST = 200_000  # bytes; a file of this size is no job
_AT_LINE = r"\s*\(at (?:line (?P<line>\d+), column \d+|end of document)\)$"


@frozen
class Document:
    """A TOML file read: its name, its text, its content."""

    name: str
    text: str
    data: dict[str, Any]

    @cached_property
    def lines(self) -> dict[KeyPath, int]:
        """The line of every key; looked for when a message first asks for one."""
        return key_lines(self.text)

    def where(self, *path: str | int) -> str:
        """The place of a value in words, e.g. "kestrel.job.toml, line 12, found.rear_gap"."""
        return f"{self.name}, line {line_of(self.lines, path)}, {spelled(path)}" if path else self.name


def spelled(path: Iterable[str | int]) -> str:
    """A key path as a reader counts: found.shims, number 1, thickness.

    Args:
        path: keys, and indices from 0.
    Returns: the words.
    """
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            shown = part if re.fullmatch(r"[\w-]{1,40}", part) else repr(part[:40])
            text += f".{shown}" if text else shown
    return text


def from_bytes(raw: bytes, name: str) -> Document:
    """Read a TOML document.

    Args:
        raw: its bytes.
        name: what messages call it.
    Returns: the document.
    Raises: FileFormatError with the line where it is no TOML.
    """
    if len(raw) > LARGEST:
        raise FileFormatError(
            f"{name} is larger than {LARGEST // 1000} kB, too large for a file typed by hand; check it."
        )
    try:
        text = raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise FileFormatError(f"{name}, line {line}: this is not text in UTF-8; save the file as UTF-8.") from None
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise FileFormatError(f"{name} nests lists or tables too deeply; two levels are enough.") from None
    except (ValueError, OverflowError) as error:  # tomllib lets plain ValueError pass for impossible dates and numbers
        found = re.search(_AT_LINE, str(error))
        line = int(found["line"]) if found and found["line"] else text.count("\n") + 1
        reason = re.sub(_AT_LINE, "", str(error)).split("\n")[0][:120]
        raise FileFormatError(f"{name}, line {line}: not valid TOML: {reason}; mend that line.") from None
    return Document(name, text, data)


def from_path(path: Path) -> Document:
    """Read a TOML file.

    Args:
        path: where it is.
    Returns: the document, named by the file's name.
    Raises: FileFormatError when it is missing, unreadable or no TOML.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except FileNotFoundError:
        raise FileFormatError(f"there is no file {str(path)!r}; check the name and the folder.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileFormatError(f"{str(path)[:200]!r} cannot be read: {reason}; check the file.") from None
    return from_bytes(raw, path.name)


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint at the nearest known word: " (did you mean 'x'?)", or "".

    Args:
        word: what was written.
        known: what there is.
    Returns: the hint.
    """
    from difflib import get_close_matches

    close = get_close_matches(word[:60], list(known), n=1, cutoff=0.6)
    return f"; did you mean {close[0]!r}?" if close else ""


def refuse_unknown(document: Document, path: KeyPath, given: Mapping[str, Any], known: Iterable[str]) -> None:
    """Refuse a key that is not known at its place, with the nearest known one.

    Args:
        document: the file.
        path: the table.
        given: what stands in it.
        known: the keys there are.
    Raises: FileFormatError.
    """
    names = list(known)
    for key in given:
        if key not in names:
            hint = nearest(key, names) or f"; known here: {', '.join(names)}."
            raise FileFormatError(f"{document.where(*path, key)}: there is no field of this name here{hint}")


def table_at(document: Document, value: Any, path: KeyPath) -> dict[str, Any]:
    """A value that must be a table.

    Args:
        document: the file.
        value: what stands there.
        path: where.
    Returns: the table.
    Raises: FileFormatError.
    """
    if not isinstance(value, dict):
        raise FileFormatError(f"{document.where(*path)}: {shown(value)} stands where a table belongs; write {{ ... }}.")
    return value


def shown(value: Any) -> str:
    """A value as messages show it, short.

    Args:
        value: anything TOML holds.
    Returns: its text.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a very large number"
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
