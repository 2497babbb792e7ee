"""What in a job file cannot be: values that contradict each other or the instrument."""

from __future__ import annotations

import math
from itertools import pairwise

from setwright.errors import ContradictionError, FileFormatError
from setwright.instrument import catalogue
from setwright.instrument.document import Document
from setwright.instrument.files import InstrumentFile
from setwright.instrument.quantities import Amount, amount
from setwright.instrument.reading import Values
from setwright.units.pitch import A4

# Usual tunings, string 1 first (common practice, no source).
GUITAR = {
    6: "E4 B3 G3 D3 A2 E2",
    7: "E4 B3 G3 D3 A2 E2 B1",
    8: "E4 B3 G3 D3 A2 E2 B1 F#1",
    12: "E4 E4 B3 B3 G4 G3 D4 D3 A3 A2 E3 E2",
}
BASS = {4: "G2 D2 A1 E1", 5: "G2 D2 A1 E1 B0", 6: "C3 G2 D2 A1 E1 B0"}
BASS_FROM = 0.72  # m, scale length
FAR_OFF = 700.0  # cents between a pitch read and the tuning named, beyond which one of them is a slip
DECK_GAP = 0.3e-3  # m, a plate that shows more is not on the body
_KNIFE_ONLY = ("springs", "claw_distance", "rear_gap", "pivot_height")


def tuning_of(document: Document, given: Values, table: str, instrument: InstrumentFile) -> tuple[Amount, ...]:
    """Pitches of the open strings, "standard" resolved.

    Args:
        document: for messages.
        given: fields of the table, with tuning and reference or not.
        table: its name.
        instrument: for the number of strings and the scale length.
    Returns: (S) [Hz].
    Raises: FileFormatError, ContradictionError.
    """
    reference = given["reference"][0].si if "reference" in given else A4
    tuning = given.get("tuning", "standard")
    where = document.where(table, "tuning")
    if tuning == "standard":
        book = BASS if instrument.given["instrument", "scale"][0].si > BASS_FROM else GUITAR
        if instrument.strings not in book:
            raise FileFormatError(
                f"{where}: no standard tuning is known for {instrument.strings} strings at this scale length; "
                "write the notes from string 1."
            )
        return tuple(amount(note, "pitch", where, reference) for note in book[instrument.strings].split())
    notes: tuple[Amount, ...] = tuning
    if len(notes) != instrument.strings:
        raise ContradictionError(f"{where}: {len(notes)} notes for {instrument.strings} strings; write one per string.")
    if notes[0].si < notes[-1].si:
        raise ContradictionError(f"{where}: string 1 is the thinnest and highest; write the notes from string 1.")
    return notes


def check_found(document: Document, given: Values, instrument: InstrumentFile) -> None:
    """Hold the as-found state against itself and the instrument.

    Args:
        document: for messages.
        given: fields of [found].
        instrument: the instrument.
    Raises: FileFormatError, ContradictionError.
    """
    _set(document, "found", given, instrument)
    _tables(document, "found", given, instrument)
    knife = instrument.bridge.knife_edge
    bridge = given.get("bridge", "floating" if knife else "fixed")
    where = document.where("found", "bridge")
    _fits_kind(where, bridge, instrument)
    if not knife:
        for key in _KNIFE_ONLY:
            if given.get(key):
                raise ContradictionError(f"{document.where('found', key)}: a fixed bridge has none; leave it out.")
        return
    springs = given.get("springs", 3)
    if bridge == "floating" and springs == 0:
        raise ContradictionError(
            f"{document.where('found', 'springs')}: a floating bridge cannot stand with 0 springs."
        )
    patterns = instrument.entry("springs", "patterns")[0].value
    if springs and springs not in patterns:
        known = ", ".join(str(n) for n in sorted(patterns))
        raise ContradictionError(
            f"{document.where('found', 'springs')}: {instrument.bridge.name!r} has no places for {springs} springs; "
            f"known: {known}, or give patterns in the instrument file."
        )
    _gaps(document, given, bridge, instrument)
    if "pitches" in given and given.get("state", "at pitch") != "at pitch":
        raise ContradictionError(
            f"{document.where('found', 'pitches')}: strings that are {given['state']} have no pitches; leave them out."
        )


def check_pitches(document: Document, pitches: tuple[Amount, ...], tuning: tuple[Amount, ...]) -> None:
    """Hold the pitches read against the tuning named.

    Args:
        document: for messages.
        pitches: (S) [Hz].
        tuning: (S) [Hz].
    Raises: ContradictionError where a string is further off than a fifth.
    """
    for i, (read, named) in enumerate(zip(pitches, tuning, strict=True)):
        off = 1200.0 * math.log2(read.si / named.si)
        if abs(off) > FAR_OFF:
            raise ContradictionError(
                f"{document.where('found', 'pitches', i)}: {read.written.text!r} is {off:+.0f} c from the tuning of "
                f"string {i + 1}, {named.written.text!r}; pitches run from string 1, or the tuning is another."
            )


def _gaps(document: Document, given: Values, bridge: str, instrument: InstrumentFile) -> None:
    """Rear gap against deck, claw distance against its travel."""
    if bridge == "decked":
        for one in given.get("rear_gap", ()):
            if abs(one.si) > DECK_GAP + 2.0 * one.band and not instrument.given.get(("bridge", "recess")):
                raise ContradictionError(
                    f"{document.where('found', 'rear_gap')}: decked with a rear gap of {one.written.text!r} is a "
                    "contradiction; write floating, or a gap of 0."
                )
    least, most = instrument.entry("claw", "travel")[0].value
    for one in given.get("claw_distance", ()):
        if not least.si - 2e-3 <= one.si <= most.si + 2e-3:
            raise ContradictionError(
                f"{document.where('found', 'claw_distance')}: {one.written.text!r} is outside the claw's travel, "
                f"{least.si * 1e3:g} to {most.si * 1e3:g} mm; check it, or give claw.travel in the instrument file."
            )


def _fits_kind(where: str, bridge: str, instrument: InstrumentFile) -> None:
    if (bridge == "fixed") == instrument.bridge.knife_edge:
        fits = '"fixed"' if not instrument.bridge.knife_edge else 'one of "floating", "decked", "blocked"'
        raise ContradictionError(f"{where}: {bridge!r} does not go with {instrument.bridge.name!r}; write {fits}.")


def _set(document: Document, table: str, given: Values, instrument: InstrumentFile) -> None:
    """One gauge per string."""
    if "strings" in given and len(given["strings"]) != instrument.strings:
        raise ContradictionError(
            f"{document.where(table, 'strings')}: {len(given['strings'])} gauges for {instrument.strings} strings; "
            "write one per string, from the thinnest."
        )
    if "pitches" in given and len(given["pitches"]) != instrument.strings:
        raise ContradictionError(
            f"{document.where(table, 'pitches')}: {len(given['pitches'])} pitches for {instrument.strings} strings."
        )
    pairs = pairwise(given.get("strings", ())) if instrument.strings <= 8 else ()
    if any(a.diameter > 1.3 * b.diameter for a, b in pairs):
        raise ContradictionError(
            f"{document.where(table, 'strings')}: string 1 is the thinnest; write the gauges from string 1."
        )


def _tables(document: Document, table: str, given: Values, instrument: InstrumentFile) -> None:
    """String heights, relief and saddle room against strings and frets."""
    height = given.get("string_height")
    if height is not None:
        where = document.where(table, "string_height")
        if ("values" in height) == ("treble" in height or "bass" in height) or ("treble" in height) != (
            "bass" in height
        ):
            raise FileFormatError(f"{where}: write either values, one per string, or treble and bass.")
        if "values" in height and len(height["values"]) != instrument.strings:
            raise ContradictionError(
                f"{where}: {len(height['values'])} heights for {instrument.strings} strings; write one per string."
            )
        _fret(document.where(table, "string_height", "fret"), height.get("fret", 12), instrument)
    relief = given.get("relief")
    if relief is not None:
        low, high = relief.get("hold", (1, 17))
        where = document.where(table, "relief")
        _fret(where, high, instrument)
        if not low < relief.get("read", 8) < high:
            raise ContradictionError(f"{where}: the fret read must lie between the frets held, {low} and {high}.")
    for way, values in given.get("saddle_room", {}).items():
        if len(values) not in (1, instrument.strings):
            raise ContradictionError(
                f"{document.where(table, 'saddle_room', way)}: {len(values)} values for {instrument.strings} strings."
            )


def _fret(where: str, fret: int, instrument: InstrumentFile) -> None:
    if fret > instrument.frets:
        raise ContradictionError(f"{where}: fret {fret} on a fretboard with {instrument.frets}; write a lower one.")


def check_want(document: Document, given: Values, found: Values, instrument: InstrumentFile) -> None:
    """Hold the wanted state against itself and the instrument.

    Args:
        document: for messages.
        given: fields of [want].
        found: fields of [found].
        instrument: the instrument.
    Raises: FileFormatError, ContradictionError.
    """
    _set(document, "want", given, instrument)
    _tables(document, "want", given, instrument)
    knife = instrument.bridge.knife_edge
    bridge = str(given.get("bridge") or found.get("bridge") or ("floating" if knife else "fixed"))
    if "bridge" in given:
        _fits_kind(document.where("want", "bridge"), bridge, instrument)
    for key in ("plate", "rear_gap"):
        if key in given and bridge not in ("floating", "blocked"):
            raise ContradictionError(
                f"{document.where('want', key)}: a {bridge} bridge has no gap to choose; "
                "leave it out, or write floating."
            )
    _check_stroke(document, given, instrument)
    bend = given.get("up_bend")
    if bend is not None:
        where = document.where("want", "up_bend")
        if bridge != "floating":
            raise ContradictionError(
                f"{where}: a {bridge} bridge cannot be pulled up; write floating, or leave it out."
            )
        if bend.get("string", 3) > instrument.strings:
            raise ContradictionError(f"{where}: there are only {instrument.strings} strings.")


def _check_stroke(document: Document, given: Values, instrument: InstrumentFile) -> None:
    """A stroke belongs to what must stay clean, and falls behind the last fret."""
    if "stroke" not in given:
        return
    if not given.get("clean"):
        raise ContradictionError(
            f"{document.where('want', 'stroke')}: a stroke was given but clean was not asked for; write clean = true, "
            "or leave the stroke out."
        )
    from setwright.instrument.strokes import farthest_stroke  # jobs that ask for nothing clean do without

    most = farthest_stroke(instrument.frets)
    for one in given["stroke"].get("place", ()):
        if one.si > most:
            raise ContradictionError(
                f"{document.where('want', 'stroke', 'place')}: {one.written.text!r} falls on the fretboard; with "
                f"{instrument.frets} frets a stroke is at most {100 * most:.0f} % from the saddle."
            )


def check_shop(document: Document, given: Values) -> None:
    """Hold the shop's springs against the catalogue.

    Args:
        document: for messages.
        given: fields of [shop].
    Raises: InputError naming the nearest known kind.
    """
    for i, one in enumerate(given.get("springs", ())):
        if "kind" in one:
            catalogue.spring(one["kind"], document.where("shop", "springs", i, "kind"))
