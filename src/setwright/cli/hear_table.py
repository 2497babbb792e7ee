"""The notes of a recording as a sheet of 80 columns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.units.pitch import note_name, note_number
from setwright.units.show import places_for, show_cents

if TYPE_CHECKING:
    from setwright.bench.heard_notes import HeardMap, Interval
    from setwright.bench.hearing import Hearing, Written
    from setwright.listening.notes import Note
    from setwright.listening.takes import Heard
    from setwright.units.show import System

WIDE = 1.96  # standard uncertainties in a band that holds 95 %, of a normal distribution
HEAD = ("time", "string", "fret", "Hz", "note", "± c", "glide", "part used")
KNOCK, TOGETHER = "a knock", 3  # how the reason begins; as many are told in one line
LEAST = 0.01  # cents, finer bands are not told
GLIDED = 0.05  # cents of glide that are worth a figure
TELLING, SHARE = 0.045, 0.5  # cents, and share of a pitch's band, from which what is left of a glide is told
COURSE = 0.04  # of what is left of a glide, its standard uncertainty for what its course does not tell


def hearing_text(
    hearing: Hearing,
    written: Written | None,
    reference: float,
    heard: HeardMap | None = None,
    system: System = "mm",
) -> str:
    """The sheet.

    Args:
        hearing: the notes.
        written: what went into the journal, None without a job.
        reference: pitch of A4 [Hz].
        heard: every note against its open string, None without a tuning.
        system: "inch" or "mm", for the saddles.
    Returns: lines of text.
    """
    good = [one for one in hearing.notes if one.note.refused is None]
    out = len(hearing.notes) - len(good)
    title = f"{hearing.file}: {len(good)} note{'' if len(good) == 1 else 's'} in {clock(hearing.seconds)}"
    lines = paragraph(title + (f", {out} left out" if out else ""), hang=2)
    if hearing.channels > 1:
        lines += paragraph(f"Channel {hearing.channel} of {hearing.channels}, the one with most sound in it.")
    if good:
        lines += ["", *columns([HEAD, *(note_row(one, reference) for one in good)], right=(0, 3, 5, 6))]
        lines += paragraph(
            "Pitch is that of the first partial, settled; ± holds 95 %. Glide: cents it was sharp where the part "
            "used begins."
        )
    words = [line for one in good for line in _words(one)]
    lines += section("Of single notes", words)
    if heard is not None:
        lines += _map(heard, system)
    refused = [one for one in hearing.notes if one.note.refused is not None]
    lines += section("Left out", _all_left(refused))
    told = [*hearing.missing, *hearing.remarks]
    if written is not None:
        told.append(_kept(written))
    lines += section("Of the take", [line for one in told for line in paragraph(one, 2, 4)])
    return "\n".join(lines)


def _map(heard: HeardMap, system: System) -> list[str]:
    """Notes against their open string, and the saddles."""
    from setwright.cli.notes_table import octave_lines

    if not heard.intervals:
        return []
    aim = f"{show_cents(heard.target, 0.1, signed=True).removesuffix(' c')} " if heard.target else ""
    limits = f"{aim}± {heard.tolerance:.3g} c"
    head = ("string", "fret", "time", "cents", f"against {limits}")
    order = sorted(heard.intervals, key=lambda one: (one.string, one.fret, one.kind != "harmonic", one.at))
    lines = columns([head, *(_interval(one) for one in order)], right=(0, 2, 3))
    from setwright.bench.heard_notes import PRESSED

    why = "asked for by the job" if heard.asked else "what most ears let pass"
    lines += paragraph(
        "Cents from the tempered note its fret makes of the open string heard before it, first partial against first "
        f"partial; sharp is +. A held note counts ± {WIDE * PRESSED:.0f} c for the finger. {limits}: {why}."
    )
    alike = [str(one.string) for one in heard.apart if not one.told]
    if alike:
        strings = f"String{'s' if len(alike) > 1 else ''} {', '.join(alike)}"
        lines += paragraph(f"{strings}: the held note and the harmonic at fret 12 cannot be told apart in pitch.")
    saddles = octave_lines(heard.saddles, system) if heard.saddles else paragraph(heard.silent, 2)
    return [*section("Against the open string", lines), *section("Octave at fret 12, by what was heard", saddles)]


def _interval(one: Interval) -> tuple[str, ...]:
    """A row of the map."""
    from setwright.bench.notes import octave_words

    harmonic = one.kind == "harmonic"
    fret = f"{one.fret} harm." if harmonic else str(one.fret)
    if one.doubt:
        said = "held or harmonic?" if "harmonic" in one.doubt else "which string?"
    elif harmonic:
        said = f"stiffness puts it {one.by_stiffness:+.1f} c" if one.by_stiffness is not None else ""
    else:
        said = one.verdict
    return str(one.string), fret, clock(one.at), octave_words(one.off), said


def clock(seconds: float) -> str:
    """A time in a recording.

    Args:
        seconds: [s].
    Returns: e.g. "0:07.3", "1:02:30.0".
    """
    tenths = math.floor(seconds * 10.0 + 0.5)
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours}:{minutes:02d}:{rest // 10:02d}.{rest % 10}"
    return f"{minutes}:{rest // 10:02d}.{rest % 10}"


def note_row(heard: Heard, reference: float) -> tuple[str, ...]:
    """A row of the table of notes, under `HEAD`.

    Args:
        heard: of a take.
        reference: pitch of A4 [Hz].
    Returns: its cells.
    """
    note = heard.note
    hertz = note.first_partial
    fret = "-" if heard.fret is None else {"open": "open", "harmonic": f"{heard.fret} harm."}.get(
        heard.kind or "", str(heard.fret)
    )  # fmt: skip
    half = WIDE * note.first_partial_sd if note.first_partial_sd else None
    used = f"{clock(note.used[0])} to {clock(note.used[1])}"
    string = "-" if heard.string is None else str(heard.string)
    doubt = "?" if heard.doubt else ""
    if hertz is None:
        return (clock(note.start), string, fret + doubt, "-", "-", "-", "-", used)
    told = None if half is None else max(half, LEAST)
    digits = 2 if half is None else min(max(places_for(half * hertz * math.log(2.0) / 1200.0), 1), 3)
    return (
        clock(note.start), string, fret + doubt, f"{hertz:.{digits}f}", _named(hertz, half, reference),
        "-" if told is None else f"{told:.{min(max(places_for(told), 0), 2)}f}", _glide(note), used,
    )  # fmt: skip


def _named(hertz: float, half: float | None, reference: float) -> str:
    """A pitch by its name and cents, as finely as it is known."""
    place = note_number(hertz, reference)
    nearest = math.floor(place + 0.5)
    if not 0 <= nearest < 120:
        return "-"
    cents = show_cents(100.0 * (place - nearest), max(half or 1.0, 0.05), signed=True)
    return f"{note_name(nearest)} {cents}"


def _glide(note: Note) -> str:
    """Cents a note was sharp where the part used begins, as finely as that is known."""
    if note.glide is None or note.glide < GLIDED:
        return "-"
    half = WIDE * note.glide_sd if note.glide_sd else 0.1
    return f"{note.glide:.{min(max(places_for(half), 0), 1)}f}"


def _words(heard: Heard) -> list[str]:
    """What else should be known of a note."""
    note = heard.note
    said = [heard.doubt] if heard.doubt else []
    said += _still_gliding(note)
    if note.beating is not None:
        said.append(f"beats: two tones {abs(note.beating):.1f} c apart")
    if note.clipped > 0.0:
        said.append(f"clipped: {100.0 * note.clipped:.1g} % of it stands at the limit")
    return labelled(clock(note.start), "; ".join(said), 2, 10)


def _still_gliding(note: Note) -> list[str]:
    """What was left of a glide where the part used ends, when the pitch is the less sure for it."""
    if note.left is None or note.settled:
        return []
    own = note.glide_sd / note.glide if note.glide and note.glide_sd else 0.0
    half = WIDE * note.left * math.hypot(COURSE, own)
    if half < TELLING or half < SHARE * WIDE * (note.first_partial_sd or 0.0):
        return []
    places = min(max(places_for(half), 1), 2)
    return [f"{note.left:.{places}f} ± {half:.{places}f} c of its glide was still to come: let it ring longer"]


def _all_left(refused: Sequence[Heard]) -> list[str]:
    """What was left out and why; knocks, of which there may be many, together."""
    knocks = [one for one in refused if (one.note.refused or "").startswith(KNOCK)]
    rest = [one for one in refused if one not in knocks or len(knocks) < TOGETHER]
    lines = [line for one in rest for line in _left(one)]
    if len(knocks) >= TOGETHER:
        times = ", ".join(clock(one.note.start) for one in knocks)
        lines += labelled("knocks", f"at {times}: gone at once, as a hand or a tool on the body", 2, 10)
    return lines


def _left(heard: Heard) -> list[str]:
    note = heard.note
    return labelled(clock(note.start), f"to {clock(note.end)}: {note.refused}", 2, 10)


def _kept(written: Written) -> str:
    """What went into the journal."""
    numbers = [one.number for one in written.entries]
    why = "in doubt or heard before a peg was turned" if written.turned else "in doubt"
    left = f" {written.left} {why} stayed out." if written.left else ""
    if written.turned:
        strings = ", ".join(map(str, written.turned))
        left += f" Peg of string {strings} was turned during the take: on a plate that floats hear the others again."
    if not numbers:
        return f"Nothing went into {written.path.name}.{left}"
    many = f"#{numbers[0]}" if len(numbers) == 1 else f"#{numbers[0]} to #{numbers[-1]}"
    return f"Into {written.path.name} went {many}.{left}"
