"""What an apprentice types at the practice instrument, as commands."""

from __future__ import annotations

import math
from typing import Literal

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.units.pitch import read_pitch
from setwright.units.read import read_angle, read_length, read_turns

BAR = 0.05  # rad, a usual dive or pull
MOST_STRINGS = 12
HELP = """\
  (nothing)       do what is advised
  tune 3 196.0    turn the peg of string 3 until the tuner shows that (Hz, or G3 -4 c)
  pitch 3         pluck string 3 and read; pitch: all strings
  gap             read the rear gap
  claw            read the claw's distance to the wall
  claw in 1/4     turn both claw screws; claw out 1 3/8
  wedge 2.6 mm    put a wedge under the rear edge; wedge out
  bar             a dive, and let go; bar up: a pull; bar 3 deg, bar -3 deg
  done            hand it over
  help            this list"""

Word = Literal["follow", "tune", "pitch", "gap", "read claw", "claw", "wedge", "bar", "done", "help"]


@frozen
class Typed:
    """One command."""

    do: Word
    string: int | None = None  # from 0; None: all
    value: float | None = None  # Hz, turns, m, rad; None: wedge out


def typed(line: str) -> Typed:
    """Understand a line.

    Args:
        line: as typed.
    Returns: the command.
    Raises: InputError: what was not understood, and what is.
    """
    words = line.replace("\N{MINUS SIGN}", "-").split()
    if not words:
        return Typed("follow")
    name, rest = words[0].casefold(), words[1:]
    if name in ("done", "help", "gap") and not rest:
        return Typed("done" if name == "done" else "help" if name == "help" else "gap")
    if name == "tune" and len(rest) >= 2:
        return Typed("tune", _string(rest[0]), _hertz(" ".join(rest[1:])))
    if name == "pitch" and len(rest) <= 1:
        return Typed("pitch", _string(rest[0]) if rest else None)
    if name == "claw":
        return Typed("claw", value=_claw(rest)) if rest else Typed("read claw")
    if name == "wedge" and rest:
        out = len(rest) == 1 and rest[0].casefold() == "out"
        return Typed("wedge", value=None if out else read_length(" ".join(rest), "wedge").si)
    if name == "bar":
        return Typed("bar", value=_bar(rest))
    raise InputError(f"{line.strip()[:40]!r} is not understood; type help for what is, or nothing to do as advised.")


def _string(word: str) -> int:
    if not (word.isascii() and word.isdigit() and 1 <= int(word[:9]) <= MOST_STRINGS):
        raise InputError(f"string {word[:20]!r} is no number of a string; the strings count from 1, the thinnest.")
    return int(word) - 1


def _hertz(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        return read_pitch(text, "tune").si
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(f"tune: {text!r} is no pitch; give hertz greater than zero, as 196.0.")
    return value


def _claw(rest: list[str]) -> float:
    """In or out, before or behind the number; the unit may be left out."""
    ways = [word.casefold() for word in rest if word.casefold() in ("in", "out")]
    amount = " ".join(word for word in rest if word.casefold() not in ("in", "out", "turn", "turns"))
    if len(ways) != 1 or not amount:
        raise InputError("claw: say which way and how far, as claw in 1/4 or claw out 1 3/8.")
    return read_turns(f"{amount} turns {ways[0]}", "claw", positive="in").si


def _bar(rest: list[str]) -> float:
    text = " ".join(rest).casefold()
    if text in ("", "down"):
        return BAR
    return -BAR if text == "up" else read_angle(text, "bar").si
