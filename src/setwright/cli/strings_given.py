"""What is typed for `setwright strings`, read: sets, scales, tunings, slots, and what is known of single strings."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.units import read_length
from setwright.units.pitch import A4, check_reference, read_pitch

if TYPE_CHECKING:
    from setwright.instrument.string_sets import Gauge
    from setwright.instrument.traits import Array

SCALES = (0.45, 1.0)  # m
FANNED_BY = 1.15  # longest over shortest scale of one board, at most
SLOTS = (0.0001, 0.006)  # m
_TWO = re.compile(r",\s+|\s+to\s+")
_BARE = re.compile(r"0?\.\d{3,4}$")
_NUMBERED = re.compile(r"\s*(?P<string>\d{1,2})\s*:\s*(?P<rest>.+)$")
_PRINTED = re.compile(r"(?P<tension>.+?)\s+at\s+(?P<note>.+?),\s+(?P<scale>.+)$")


@frozen
class Asked:
    """The options as typed; None or empty where left out."""

    tuning: str | None
    scale: str | None
    reference: str | None
    capo: int | None
    bass: bool
    mass: tuple[str, ...]
    printed: tuple[str, ...]
    slot: str | None
    was: str | None
    was_tuning: str | None
    was_scale: str | None
    feel: str | None
    pull: str | None

    def refuse(self, names: Sequence[str], why: str) -> None:
        """Refuse options that do not go here."""
        for name in names:
            if getattr(self, name) not in (None, False, ()):
                raise InputError(f"--{name.replace('_', '-')}: {why}; leave it out.")


def words_of(text: str) -> list[str]:
    """Words between blanks or commas."""
    return text.replace(",", " ").split()


def gauges_of(words: Sequence[str], where: str) -> list[Gauge]:
    """A set as typed.

    Args:
        words: one gauge each.
        where: put in front of messages.
    Returns: the strings.
    Raises: InputError.
    """
    from setwright.instrument.string_sets import gauge

    if not 3 <= len(words) <= 12:
        raise InputError(f"{len(words)} gauges are no set; write 3 to 12 from the thinnest, or the name of a job file.")
    return [gauge(text, where) for text in words]


def scales_of(text: str | None, option: str = "--scale") -> tuple[float, float]:
    """Scale of the thinnest and of the thickest string.

    Args:
        text: one length, or two for a fanned board.
        option: for messages.
    Returns: [m], twice the same for a usual board.
    Raises: InputError, UnitError.
    """
    if text is None:
        raise InputError(f'the scale length is missing; write for instance {option} "25.5 in".')
    parts = _TWO.split(text.strip())
    if len(parts) > 2:
        raise InputError(f"{option}: {text!r} is {len(parts)} lengths; write one, or those of string 1 and the last.")
    metres = [_one_scale(part, option) for part in parts]
    if metres[-1] < metres[0]:
        raise InputError(
            f"{option}: {text!r} starts with the longer scale; write that of string 1, the thinnest, first."
        )
    if metres[-1] > FANNED_BY * metres[0]:
        raise InputError(f"{option}: {text!r} are too far apart for one board; check them.")
    return metres[0], metres[-1]


def _one_scale(text: str, option: str) -> float:
    metres = read_length(text, option).si
    if not SCALES[0] <= metres <= SCALES[1]:
        raise InputError(f"{option}: {text!r} is outside {SCALES[0] * 1e3:.0f} to {SCALES[1] * 1e3:.0f} mm; check it.")
    return metres


def title_of(scale: str, capo: int | None = None) -> str:
    """Title of a sheet, with the scale as it was typed."""
    spelled = " to ".join(_TWO.split(scale.strip()))
    return f"Strings at {spelled}" + (f", capo at fret {capo}" if capo else "")


def reference_of(text: str | None) -> float:
    """Pitch of A4 [Hz]."""
    return A4 if text is None else check_reference(read_pitch(text, "--reference").si)


def pitches_of(
    text: str | None, count: int, scale: float, reference: float, bass: bool, option: str = "--tuning"
) -> Array:
    """Open strings.

    Args:
        text: a tuning by name or by notes; None: standard.
        count: number of strings [1].
        scale: scale length [m].
        reference: pitch of A4 [Hz].
        bass: whether it is a bass.
        option: for messages.
    Returns: [Hz], from the thinnest.
    Raises: InputError, UnitError.
    """
    from setwright.bench.tunings import named_tuning

    named = named_tuning(text or "standard", count, scale, reference, bass)
    return notes_of(text or "", reference, option) if named is None else named


def notes_of(text: str, reference: float, option: str = "--tuning") -> Array:
    """Notes as typed.

    Args:
        text: notes between blanks or commas.
        reference: pitch of A4 [Hz].
        option: for messages.
    Returns: [Hz].
    Raises: InputError, UnitError.
    """
    from setwright.instrument.traits import array

    words = words_of(text)
    if not words:
        raise InputError(
            f'{option}: no note is given; write standard, or the notes from string 1: "E4 B3 G3 D3 A2 E2".'
        )
    hertz = [read_pitch(note, option, reference).si for note in words]
    for note, value in zip(words, hertz, strict=True):
        if not (math.isfinite(value) and 15.0 <= value <= 1500.0):
            raise InputError(f"{option}: {note!r} is outside 15 to 1500 Hz; check the octave.")
    return array(hertz)


def slots_of(text: str, count: int) -> list[float]:
    """Widths of the nut slots.

    Args:
        text: ".011 .014 .018 .028 .038 .048", "0.3 mm, 0.4 mm, ..."; bare thou are inches, as gauges are.
        count: number of strings [1].
    Returns: [m], one per string.
    Raises: InputError, UnitError.
    """
    parts = text.split() if "," not in text else [part for part in (p.strip() for p in text.split(",")) if part]
    if not all(_BARE.match(part) for part in parts) and "," not in text:
        parts = [text]
    widths = [read_length(f"{part} in" if _BARE.match(part) else part, "--slot").si for part in parts]
    if len(widths) != count:
        raise InputError(
            f"--slot: {len(widths)} widths for {count} strings; write one per string from the thinnest, with commas."
        )
    for part, width in zip(parts, widths, strict=True):
        if not SLOTS[0] <= width <= SLOTS[1]:
            raise InputError(
                f"--slot: {part!r} is no width of a nut slot; these run from .004 to .236 in (0.1 to 6 mm)."
            )
    return widths


def with_known(gauges: Sequence[Gauge], mass: Sequence[str], printed: Sequence[str]) -> list[Gauge]:
    """The set with what is known of single strings.

    Args:
        gauges: the set.
        mass: "3: 2.31 g/m ± 0.02 g/m", each a string and its unit mass.
        printed: "1: 16.2 lb at E4, 25.5 in", each a string and a tension as its maker prints it.
    Returns: the set.
    Raises: InputError, UnitError.
    """
    from setwright.bench.string_mass import printed_mass, with_mass
    from setwright.instrument.quantities import amount

    out = list(gauges)
    taken: set[int] = set()
    for option, texts in (("--mass", mass), ("--printed", printed)):
        for text in texts:
            at, rest = _numbered(text, option, len(out), taken)
            if option == "--mass":
                out[at] = with_mass(out[at], amount(rest, "unit mass", option))
                continue
            found = _PRINTED.match(rest)
            if found is None:
                raise InputError(
                    f'--printed: {text!r} is not understood; write for instance "1: 16.2 lb at E4, 25.5 in".'
                )
            tension, hertz = amount(found["tension"], "force", option), float(notes_of(found["note"], A4, option)[0])
            out[at] = with_mass(out[at], printed_mass(out[at], tension, hertz, _one_scale(found["scale"], option)))
    return out


def _numbered(text: str, option: str, count: int, taken: set[int]) -> tuple[int, str]:
    """Index of the string named, and what is said of it."""
    found = _NUMBERED.match(text)
    if found is None:
        raise InputError(f"{option}: {text!r} does not say which string; write its number first, for instance 1: ...")
    number = int(found["string"])
    if not 1 <= number <= count:
        raise InputError(f"{option}: there is no string {number}; this set has strings 1 to {count}.")
    if number in taken:
        raise InputError(f"{option}: string {number} is given twice; leave one out.")
    taken.add(number)
    return number - 1, found["rest"]
