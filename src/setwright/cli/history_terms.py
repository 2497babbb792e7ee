"""Readings, limits and amounts of the shop's history in the trade's words."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable

from setwright.cli.words import HAIR, LEAST
from setwright.metrology.reading import Convention
from setwright.records.found_left import Key, Told
from setwright.records.summaries import Limit
from setwright.units.show import System, show_band, show_length, show_value

U = 2.0  # k of U = k u


def name(key: Key) -> str:
    """What was read, where and how, short.

    Args:
        key: of the reading.
    Returns: e.g. "string height, string 3, fret 12".
    """
    return ", ".join(_parts(key, [key.string] if key.string else []))


def names(keys: Iterable[Key]) -> list[str]:
    """What was read, where and how, the strings of one thing together.

    Args:
        keys: of the readings.
    Returns: e.g. "string height, strings 1 to 6, fret 12".
    """
    alike: dict[Key, list[int]] = {}
    for key in sorted(keys):
        alike.setdefault(key._replace(string=0), []).append(key.string)
    return [", ".join(_parts(key, [one for one in strings if one])) for key, strings in alike.items()]


def _parts(key: Key, strings: list[int]) -> list[str]:
    parts = ["pitch in Hz" if key.kind == "pitch" else key.what]
    if len(strings) > 2 and strings == list(range(strings[0], strings[-1] + 1)):
        parts.append(f"strings {strings[0]} to {strings[-1]}")
    elif strings:
        parts.append(f"string{'' if len(strings) == 1 else 's'} {' and '.join(str(one) for one in strings)}")
    if key.fret:
        parts.append(f"{'harmonic' if key.harmonic else 'fret'} {key.fret}")
    parts += [key.side] if key.side else []
    parts += _how(key.convention)
    return parts + ([key.attitude] if key.attitude != "playing" else [])


def _how(convention: str) -> list[str]:
    how = Convention(**json.loads(convention)) if convention else Convention()
    out = []
    if how.hold_low:
        rule = "rule on" if how.straightedge else "held"
        out.append(f"{rule} {how.hold_low}-{how.hold_high} at {how.read_at}")
    return out + ([f"capo {how.capo}"] if how.capo else [])


def limit_name(limit: Limit) -> str:
    """What a limit is about, short.

    Args:
        limit: of a specification.
    Returns: e.g. "rear gap".
    """
    key = Key(
        limit.what, limit.string or 0, limit.fret or 0, limit.side, limit.harmonic, limit.convention, "playing", ""
    )
    return name(key)


def limits(limit: Limit, system: System) -> str:
    """The limits in words.

    Args:
        limit: of a specification.
        system: of units.
    Returns: e.g. "2.30 to 2.90 mm".
    """
    low, high = (_end(one, limit.kind, system) for one in (limit.tolerance.lower, limit.tolerance.upper))
    if low is None:
        return f"up to {high}"
    return f"{low} or more" if high is None else f"{low} to {high}"


def _end(value: float, kind: str, system: System) -> str | None:
    if math.isinf(value):
        return None
    if kind == "length":
        return show_length(value, system, HAIR, style="thou" if system == "inch" else "mm")
    return amount(value, kind, None, system, False)


def shown(key: Key, told: Told | None, system: System) -> str:
    """A reading with U = 2 u.

    Args:
        key: what was read.
        told: the value, None where there is none.
        system: of units.
    Returns: e.g. "2.60 ± 0.25 mm", "-" for none.
    """
    return "-" if told is None else amount(told.si, key.kind, U * told.u, system, False)


def amount(value: float, kind: str, half: float | None, system: System, signed: bool = True) -> str:
    """A value, or a change, in the trade's words.

    Args:
        value: SI, cents as they are.
        kind: of unit.
        half: half width of its band, None without.
        system: of units.
        signed: a change: + is written.
    Returns: the words.
    """
    if half is not None and half > 0.0:
        text = show_band(value, max(half, LEAST.get(kind, 0.0)), kind, system)
    elif kind == "length":
        text = show_length(value, system, 5e-6, style="thou" if system == "inch" else "mm")
    elif kind == "cents":
        text = f"{round(value, 1) + 0.0:.1f} c".replace("-", "−")
    else:
        text = show_value(value, kind, system)
    return f"+{text}" if signed and value > 0.0 else text


def count(many: int, what: str) -> str:
    """How many, in words.

    Args:
        many: of them.
        what: one of them.
    Returns: e.g. "3 visits".
    """
    return f"{many} {what}{'' if many == 1 else 's'}"


def times(many: int) -> str:
    """How often, in words.

    Args:
        many: times.
    Returns: e.g. "once", "3 times".
    """
    return {0: "not", 1: "once", 2: "twice"}.get(many, f"{many} times")


def short(text: str, most: int) -> str:
    """A text cut to a width.

    Args:
        text: any.
        most: signs.
    Returns: the text, with dots where it was cut.
    """
    return text if len(text) <= most else f"{text[: most - 3]}..."
