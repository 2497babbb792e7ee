"""From the data of a set-up sheet to its PDF: text goes to typst as JSON, never as markup.

Type comes from the fonts inside typst alone, so that every machine sets the same page. Only where a text holds letters
those lack are the fonts of the machine asked too; a letter none of them has is printed by its number, [U+1F3B8].
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from datetime import date
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final, cast

from setwright.errors import InputError
from setwright.sheets.ink import PAPER
from setwright.sheets.qr import qr_drawing
from setwright.sheets.sheet import Drawing, SheetData, day
from setwright.sheets.sheet_room import SIZES, flat, start

if TYPE_CHECKING:
    from typst import Compiler

STANDARD: Final = "ua-1"
WIDE = (range(0x2E80, 0xFB00), range(0x1F000, 0x40000))  # thousands of letters each: fonts have them together or not
_LACKING = re.compile(r"the text `\"(?P<text>.*)\"` could not be displayed")
_NUMBERED = re.compile(r"\\u\{(?P<code>[0-9a-f]+)\}")
_BOX = re.compile(r'viewBox="\S+ \S+ (?P<width>[\d.]+) (?P<height>[\d.]+)"')
_SIZE = re.compile(r'<svg[^>]*?\swidth="(?P<width>[\d.]+)mm"[^>]*?\sheight="(?P<height>[\d.]+)mm"')
_COUNTED = re.compile(rb"/Type/Pages/Count (?P<pages>\d+)")
_OUT = ("Cc", "Cs", "Co", "Cn")  # controls, halves of pairs, private and unused code points
_TURNS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c\ufeff"  # they turn text about


def compiled(data: SheetData, paper: str, parts: Sequence[str], stamp: int) -> bytes:
    """The PDF of a sheet.

    Args:
        data: what goes on it.
        paper: "a4" or "letter".
        parts: in their order.
        stamp: seconds from 1970 that date the file [s].
    Returns: the document.
    Raises: InputError for a link that does not fit or a drawing that is no SVG.
    """
    content = _plain(data)
    content |= {name: day(getattr(data, name)) for name in ("begun", "ended", "recheck")}
    content |= {
        "paper": paper,
        "kinds": list(parts),
        "sizes": list(SIZES),
        "start": {part: start(data, part, paper) for part in parts},
    }
    if "shop" in parts:
        content["flat"] = flat(data, paper, int(content["start"]["shop"]["at"]))
    content["drawings"] = [_drawing(one) for one in data.drawings] if "shop" in parts else []
    content["qr"] = qr_drawing(data.link) if data.link else ""
    missing: set[str] = set()
    system, measured = False, False
    while True:
        text = json.dumps(_spelled(content, missing), ensure_ascii=False, sort_keys=True)
        done, lacking = _tried(text, system, stamp)
        if done is not None and (measured or _pages(done) <= len(parts) + len(content["drawings"])):
            return done
        if done is not None:
            measured = True
            content["start"] = {part: {**one, "sure": False} for part, one in content["start"].items()}
        elif not system:
            system = True
        else:
            missing |= _alike(lacking, text)


def _pages(pdf: bytes) -> int:
    """How many pages a document of typst has."""
    found = _COUNTED.search(pdf)
    return int(found["pages"]) if found else 0


def _tried(text: str, system: bool, stamp: int) -> tuple[bytes | None, str]:
    """The document, or the letters that no font has."""
    from typst import TypstError

    # As a file beside the page: what is handed to a page by name makes typst set again even what has not changed.
    try:
        out = _compiler(system).compile(
            cast("Any", {"main.typ": _page(), "data.json": text.encode()}), format="pdf", pdf_standards=STANDARD,
            timestamp=stamp, pdf_tags=True,
        )  # fmt: skip
    except TypstError as error:
        found = _LACKING.search(str(error))
        if found is None:
            raise InputError(f"a drawing cannot be set: {error}; give SVG documents, or leave them out.") from error
        return None, _NUMBERED.sub(lambda one: chr(int(one["code"], 16)), found["text"])
    assert isinstance(out, bytes)
    return out, ""


@cache
def _compiler(system: bool) -> Compiler:
    """The compiler of the page, kept: what it has worked out once it does not again."""
    from typst import Compiler

    return Compiler(ignore_system_fonts=not system)


@cache
def _page() -> bytes:
    return files("setwright.sheets").joinpath("data", "sheet.typ").read_bytes()


def _alike(lacking: str, text: str) -> set[str]:
    """The letters that are lacking; of a script of thousands all that are used."""
    wide = next((some for some in WIDE if any(ord(c) in some for c in lacking)), range(0))
    return {c for c in text if ord(c) in wide} | set(lacking)


def _spelled(value: Any, missing: set[str]) -> Any:
    """The same with every letter no font has as its number; drawings, whose letters typst sets, too."""
    if not missing:
        return value
    if isinstance(value, str):
        return "".join(f"[U+{ord(c):04X}]" if c in missing else c for c in value)
    if isinstance(value, list):
        return [_spelled(one, missing) for one in value]
    if isinstance(value, dict):
        return {key: _spelled(one, missing) for key, one in value.items()}
    return value


def _drawing(one: Drawing) -> dict[str, Any]:
    """A drawing for its page: on white, since the paper is its ground, whether it is wider than high, and its full size
    [mm], 0 where it says none."""
    found = _BOX.search(one.svg)
    wide = found is not None and float(found["width"]) > float(found["height"])
    size = _SIZE.search(one.svg)
    svg = one.svg.replace(f'fill="{PAPER}"', 'fill="#ffffff"')
    return {
        "title": printable(one.title) or "Drawing",
        "svg": svg,
        "alt": printable(one.alt) or "drawing",
        "wide": wide,
        "width": 0.0 if size is None else float(size["width"]),
        "height": 0.0 if size is None else float(size["height"]),
    }


def _plain(value: Any) -> Any:
    """Frozen data as JSON holds it, without dates: text on one line and fit to print."""
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: _plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    return None if isinstance(value, date) else value


def printable(text: str) -> str:
    """Text on one line, without what prints nothing or turns other text about.

    Args:
        text: any.
    Returns: the text in composed form (NFC); blanks and line ends as single blanks.
    """
    if text.isprintable() and "  " not in text and text == text.strip() and unicodedata.is_normalized("NFC", text):
        return text
    kept = "".join(
        " " if c in "\t\n\r\v\f\x85\u2028\u2029" else c
        for c in unicodedata.normalize("NFC", text)
        if c not in _TURNS and (c in "\t\n\r\v\f\x85" or unicodedata.category(c) not in _OUT)
    )
    return " ".join(kept.split())
