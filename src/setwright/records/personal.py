"""Words that lead to an owner, and texts without them."""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Callable, Mapping
from typing import Any

from setwright.records.rows import Owner, as_json

GONE = "[owner]"
_LEAST = 5  # signs of a part of the contact that is looked for by itself
_BETWEEN = r"[\s_.\-]+"
_FREE = {"job": ("title", "notes", "instrument"), "instrument": ("name", "notes")}  # texts of a file in plain words
_BARE = re.compile(r"[A-Za-z0-9_-]+")
Change = Callable[[str], str]


def blanker(owner: Owner) -> Change:
    """What takes an owner's name and contact out of a text.

    Args:
        owner: of whom.
    Returns: text -> the same with `GONE` in the place of name and contact, wherever they stand as words of their own;
        small and large letters are alike, and so is what stands between the words (ada_lark.toml).
    """
    parts = re.split(r"[,;\n|]+", owner.contact)
    said = {owner.name, owner.contact, *(one for one in parts if len(one.strip()) >= _LEAST)}
    words = sorted((one.split() for one in said if one.strip()), key=lambda one: (-len(" ".join(one)), one))
    anyway = "|".join(_BETWEEN.join(re.escape(word) for word in one) for one in words)
    found = re.compile(rf"(?<!\w)(?:{anyway})(?!\w)", re.IGNORECASE)
    return lambda text: found.sub(GONE, text)


def in_json(text: str, change: Change, without: tuple[str, ...] = ()) -> str:
    """JSON with every text in it changed.

    Args:
        text: as kept.
        change: of one text.
        without: keys of the outermost object that go.
    Returns: JSON; the same text where nothing changes.
    """
    said = json.loads(text)
    new = _walked(said, change)
    if isinstance(new, dict):
        new = {key: value for key, value in new.items() if key not in without}
    return text if new == said else as_json(new)


def _walked(value: Any, change: Change) -> Any:
    if isinstance(value, str):
        return change(value)
    if isinstance(value, list):
        return [_walked(one, change) for one in value]
    return {key: _walked(one, change) for key, one in value.items()} if isinstance(value, dict) else value


def in_bytes(raw: bytes, change: Change) -> bytes:
    """Text of a hand, in whatever code, changed.

    Args:
        raw: the bytes.
        change: of a text.
    Returns: the bytes.
    """
    return change(raw.decode("utf-8", "surrogateescape")).encode("utf-8", "surrogateescape")


def job_without(text: str, change: Change, notes: bool) -> str:
    """A job file without what its owner said: wish and remarks gone, names taken out of its words.

    Args:
        text: the file.
        change: of a text.
        notes: its notes go too.
    Returns: the file, spelled anew; the same values otherwise.
    """
    said = tomllib.loads(text)
    job = {key: value for key, value in said["job"].items() if key != "wish" and not (notes and key == "notes")}
    return toml({**said, "job": _freed(job, "job", change)})


def instrument_without(text: str, change: Change) -> str:
    """An instrument file without the names in it.

    Args:
        text: the file.
        change: of a text.
    Returns: the very same where no name is in it; else spelled anew, its remarks gone.
    """
    if change(text) == text:
        return text
    said = tomllib.loads(text)
    return toml({**said, "instrument": _freed(said["instrument"], "instrument", change)})


def _freed(table: Mapping[str, Any], kind: str, change: Change) -> dict[str, Any]:
    return {key: change(value) if key in _FREE[kind] else value for key, value in table.items()}


def toml(data: Mapping[str, Any]) -> str:
    """Plain data as a TOML file without remarks.

    Args:
        data: as `tomllib` reads it.
    Returns: a text that reads as the same data.
    """
    lines = [f"{_key(key)} = {_value(value)}" for key, value in data.items() if not isinstance(value, dict)]
    for key, table in data.items():
        if isinstance(table, dict):
            lines += ["", f"[{_key(key)}]", *(f"{_key(name)} = {_value(value)}" for name, value in table.items())]
    return "\n".join(lines).lstrip("\n") + "\n"


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _text(key)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_value(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return f"[{', '.join(_value(one) for one in value)}]"
    if isinstance(value, float) and math.isfinite(value):
        return repr(value)
    return value.isoformat() if hasattr(value, "isoformat") else str(value)
