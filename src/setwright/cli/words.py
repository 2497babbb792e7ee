"""Numbers in the trade's words: fractions of turns, lengths in the bench's units, notes, chances in a hundred."""

from __future__ import annotations

import math
import re

from setwright.units.pitch import note_name, note_number
from setwright.units.show import (
    System,
    places_for,
    show_band,
    show_cents,
    show_length,
    show_turns,
    show_value,
)
from setwright.units.tables import unit_size

MARK = unit_size("length", "in") / 64  # m, the finest mark of a rule
GAPS_TO = unit_size("length", "in") / 4  # m, gaps below this are read with feeler or pin gauges
PLACE = re.compile(r"string (\d+) at fret (\d+)$")
RULED = 3e-4  # m, what a rule shows of larger lengths
HAIR = 5e-5  # m, the digits of a string height end here
THOU = unit_size("length", "thou")  # m
FINEST = 1 / 32  # turn, the finest a hand sets
# below these a band is not told: finer than any gauge of the bench
LEAST = {"length": 1e-5, "height": 1e-5, "cents": 0.1, "force": 0.1, "angle": 1e-4, "ratio": 1e-3}
_SHOWN_AS = {"length": "length", "height": "length", "cents": "cents", "force": "force", "angle": "angle",
             "ratio": "ratio"}  # fmt: skip
_BRACED = re.compile(r"(?P<shim>shims? )?\{(?P<metres>-?\d+\.\d+)\}")


def number(value: float, kind: str, system: System, half: float | None = None) -> str:
    """A number of a plan with its unit and, where known, ± the half width of its band.

    Args:
        value: SI, or as its kind counts.
        kind: one of `planning.plan.Kind`.
        system: "inch" or "mm".
        half: half width in the same unit, or None.
    Returns: e.g. "2.60 ± 0.21 mm", "5/8 turn", "E4 −12 c (327.4 Hz)".
    """
    if not math.isfinite(value):
        return "slack" if value == -math.inf else "not known"
    if kind == "turns":
        return _turns(value, half)
    if kind == "thou":
        return shim_size(value, system)
    if kind == "hertz":
        return f"{note(value)} ({show_value(value, 'pitch')})"
    if kind == "count":
        return f"{value:.0f}"
    if kind == "moment":
        return _with_unit(value, half, 0.01, "N m")
    if half is not None and half > 0.0 and math.isfinite(half):
        least = THOU if system == "inch" and _SHOWN_AS[kind] == "length" else LEAST[kind]
        steps = max(1, math.ceil(round(half / least, 6)))
        return show_band(value, steps * least, _SHOWN_AS[kind], system)
    if kind in ("length", "height"):
        return _bare_length(value, kind, system)
    return show_value(value, _SHOWN_AS[kind], system)


def _bare_length(value: float, kind: str, system: System) -> str:
    """A length without a band: heights and gaps in decimals, in the inch system larger lengths at the nearest mark."""
    if system == "mm":
        return show_length(value, system, HAIR if kind == "height" or abs(value) < GAPS_TO else RULED)
    if kind == "height" or abs(value) < GAPS_TO:
        return show_length(value, system, HAIR, style="thou")
    return show_length(value, system, MARK, style="fraction")


def name_of(quantity: str, place: str) -> str:
    """What is read, and where, short.

    Args:
        quantity: e.g. "string height".
        place: e.g. "string 3 at fret 12", "".
    Returns: e.g. "height, string 3, fret 12".
    """
    match = PLACE.match(place)
    if match and quantity == "string height":
        return f"height, string {match[1]}, fret {match[2]}"
    return f"{quantity}, {place.removesuffix(', at least')}".rstrip(", ")


def _turns(value: float, half: float | None) -> str:
    text = show_turns(value, FINEST)
    if half is None or not math.isfinite(half) or half < 0.5 * FINEST:
        return text
    return f"{text} ± {show_turns(max(half, 1 / 8), 1 / 8)}"


def _with_unit(value: float, half: float | None, least: float, unit: str) -> str:
    """A number of a kind the units layer has no name for."""
    if half is None or not math.isfinite(half) or half <= 0.0:
        return f"{value:.3g} {unit}".replace("-", "−")
    half = max(half, least)
    places = max(0, places_for(half))
    return f"{value:.{places}f} ± {half:.{places}f} {unit}".replace("-", "−")


def stiffness(pair: tuple[float, float]) -> str:
    """A stiffness [N m/rad] with its half width."""
    return _with_unit(pair[0], pair[1], 0.1, "N m/rad")


def signed_cents(value: float, half: float | None = None) -> str:
    """An interval with its sign, without band: "+12 c"; "slack" for a string that goes slack."""
    if value == -math.inf:
        return "slack"
    if not math.isfinite(value):
        return "-"
    return show_cents(value, half, signed=True).removesuffix(" c")


def note(hertz: float, reference: float = 440.0) -> str:
    """A pitch as a tuner shows it: note and whole cents.

    Args:
        hertz: [Hz], > 0.
        reference: of A4 [Hz].
    Returns: e.g. "E4", "E4 −12 c".
    """
    place = note_number(hertz, reference)
    nearest = math.floor(place + 0.5)
    off = round(100.0 * (place - nearest))
    return note_name(nearest) + (f" {show_cents(off, 1.0, signed=True)}" if off else "")


def shim_size(metres: float, system: System) -> str:
    """A shim as it is marked: in thou when it is a whole number of thou, else in the system's unit.

    Args:
        metres: thickness [m].
        system: "inch" or "mm".
    Returns: e.g. ".020 in", "0.5 mm".
    """
    thou = metres / THOU
    whole = abs(thou - round(thou)) < 0.01
    return show_length(metres, system, style="thou" if system == "inch" or whole else "mm")


def spelled(text: str, system: System) -> str:
    """Text of a plan whose lengths stand in braces, in metres.

    Args:
        text: e.g. "strip shim {0.000508}".
        system: "inch" or "mm".
    Returns: the text with its lengths spelled out.
    """

    def one(found: re.Match[str]) -> str:
        metres = float(found["metres"])
        shim = found["shim"] or ""
        size = shim_size(metres, system) if shim else number(metres, "height", system)
        return f"{shim}{size}"

    return _BRACED.sub(one, text)


def chance(share: float) -> str:
    """A chance in a hundred.

    Args:
        share: 0 to 1 [1].
    Returns: e.g. "97 in 100", "under 1 in 100".
    """
    hundred = 100.0 * share
    if hundred < 1.0:
        return "under 1 in 100"
    if hundred > 99.0:
        return "over 99 in 100"
    return f"{hundred:.0f} in 100"


def minutes(value: float) -> str:
    """A time; five minutes are the least that is told apart beyond half an hour.

    Args:
        value: minutes.
    Returns: e.g. "4 min", "55 min".
    """
    return f"{5 * round(value / 5)} min" if value > 30 else f"{math.ceil(value)} min"


def sentence(text: str) -> str:
    """A text with a capital in front and a full stop behind."""
    plain = text.strip()
    return plain if not plain else plain[0].upper() + plain[1:] + ("" if plain[-1] in ".:" else ".")
