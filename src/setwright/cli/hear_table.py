"""The notes of a recording as a sheet of 80 columns."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.units.pitch import note_name, note_number
from setwright.units.show import places_for, show_cents

if TYPE_CHECKING:
    from setwright.bench.hearing import Hearing, Written
    from setwright.listening.takes import Heard

WIDE = 1.96  # standard uncertainties in a band that holds 95 %, of a normal distribution
HEAD = ("time", "string", "fret", "Hz", "note", "± c", "part used")
GLIDED = 1.0  # cents of glide that are worth a word


def hearing_text(hearing: Hearing, written: Written | None, reference: float) -> str:
    """The sheet.

    Args:
        hearing: the notes.
        written: what went into the journal, None without a job.
        reference: pitch of A4 [Hz].
    Returns: lines of text.
    """
    good = [one for one in hearing.notes if one.note.refused is None]
    out = len(hearing.notes) - len(good)
    title = f"{hearing.file}: {len(good)} note{'' if len(good) == 1 else 's'} in {clock(hearing.seconds)}"
    lines = paragraph(title + (f", {out} left out" if out else ""), hang=2)
    if hearing.channels > 1:
        lines += paragraph(f"Channel {hearing.channel} of {hearing.channels}, the one with most sound in it.")
    if good:
        lines += ["", *columns([HEAD, *(_row(one, reference) for one in good)], right=(0, 3, 5))]
        lines += paragraph("Pitch is that of the first partial, settled; ± holds 95 %.")
    words = [line for one in good for line in _words(one)]
    lines += section("Of single notes", words)
    refused = [one for one in hearing.notes if one.note.refused is not None]
    lines += section("Left out", [line for one in refused for line in _left(one)])
    told = [*hearing.missing, *hearing.remarks]
    if written is not None:
        told.append(_kept(written))
    lines += section("Of the take", [line for one in told for line in paragraph(one, 2, 4)])
    return "\n".join(lines)


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


def _row(heard: Heard, reference: float) -> tuple[str, ...]:
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
        return (clock(note.start), string, fret + doubt, "-", "-", "-", used)
    digits = 2 if half is None else min(max(places_for(half * hertz * math.log(2.0) / 1200.0), 1), 3)
    return (
        clock(note.start), string, fret + doubt, f"{hertz:.{digits}f}", _named(hertz, half, reference),
        "-" if half is None else f"{half:.{min(max(places_for(half), 0), 2)}f}", used,
    )  # fmt: skip


def _named(hertz: float, half: float | None, reference: float) -> str:
    """A pitch by its name and cents, as finely as it is known."""
    place = note_number(hertz, reference)
    nearest = math.floor(place + 0.5)
    if not 0 <= nearest < 120:
        return "-"
    cents = show_cents(100.0 * (place - nearest), max(half or 1.0, 0.05), signed=True)
    return f"{note_name(nearest)} {cents}"


def _words(heard: Heard) -> list[str]:
    """What else should be known of a note."""
    note = heard.note
    said = [heard.doubt] if heard.doubt else []
    if note.glide is not None and abs(note.glide) >= GLIDED:
        how = "settled" if note.settled else "not settled yet"
        band = f" ± {WIDE * note.glide_sd:.1f}" if note.glide_sd else ""
        said.append(f"began {note.glide:.1f}{band} c sharp, {how}")
    elif not note.settled and note.glide is not None:
        said.append("its glide had not ended")
    if note.beating is not None:
        said.append(f"beats: two tones {note.beating:.1f} c apart")
    if note.clipped > 0.0:
        said.append(f"clipped: {100.0 * note.clipped:.1g} % of it stands at the limit")
    return labelled(clock(note.start), "; ".join(said), 2, 10)


def _left(heard: Heard) -> list[str]:
    note = heard.note
    return labelled(clock(note.start), f"to {clock(note.end)}: {note.refused}", 2, 10)


def _kept(written: Written) -> str:
    """What went into the journal."""
    numbers = [one.number for one in written.entries]
    left = f" {written.left} in doubt stayed out." if written.left else ""
    if not numbers:
        return f"Nothing went into {written.path.name}.{left}"
    many = f"#{numbers[0]}" if len(numbers) == 1 else f"#{numbers[0]} to #{numbers[-1]}"
    return f"Into {written.path.name} went {many}.{left}"
