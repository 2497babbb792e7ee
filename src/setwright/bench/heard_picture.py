"""The picture of a recording as heard: what every note's pitch did in time, and where its partials stand.

The first partial's frequency in time is the slope of the phase of its band, window by window (least squares); its band
is what the noise in that band leaves of it. Partials are those of the estimator, against its own law.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from setwright.physics.pitch import CENTS_PER_LOG
from setwright.sheets.hearing import Bar, HearingSheet, NoteStrip, Trace, draw_hearing
from setwright.units.pitch import note_name, note_number
from setwright.units.show import places_for, show_cents

if TYPE_CHECKING:
    from setwright.bench.hearing import Hearing
    from setwright.listening.bands import Array, Bands, Complex
    from setwright.listening.notes import Note
    from setwright.listening.partials import Ringing
    from setwright.listening.sound import Sound
    from setwright.listening.spectrum import Coarse, Peaks
    from setwright.listening.takes import Heard

WIDE = 1.96  # standard uncertainties in a band that holds 95 %, of a normal distribution
MOST = 120  # notes that are drawn
POINTS, PIECE = 160, 0.01  # of the sound's outline, at most; s, the shortest piece it is made of
WINDOW = 0.12  # s, of a frequency in time, at least
WINDOWS = 16  # of them side by side in the part used, at most
LOUD = 4.0  # times the noise in its band, from which a partial is followed
LEAST = 0.01  # cents, finer bands are not told
FINEST_SHOWN = 0.05  # cents, pitches are told in hundredths of a cent at most
FINEST = 0.002  # cents, finer bars are not drawn
NEAR = 0.15  # of the fundamental, how near a peak must lie to its partial
SILENT = -120.0  # dB


@dataclass
class Watched:
    """Notes as they are measured, each with what its picture needs; `look` is given to who hears a recording."""

    seen: list[NoteStrip] = field(default_factory=list)

    def look(self, note: Note, sound: Sound) -> None:
        """Keep what the picture of a note needs.

        Args:
            note: as measured.
            sound: it was measured on.
        """
        if len(self.seen) < MOST:
            self.seen.append(_seen(note, sound))


def picture(hearing: Hearing, watched: Watched, reference: float, about: str = "") -> str:
    """The drawing of a hearing.

    Args:
        hearing: the notes.
        watched: what was seen of them, in the same order.
        reference: pitch of A4 [Hz].
        about: the instrument, "" where none was told.
    Returns: an SVG document.
    Raises: InputError where no note was heard.
    """
    strips = tuple(
        replace(strip, head=_head(one), lines=_lines(one, reference), alarm=one.note.refused or one.doubt)
        for strip, one in zip(watched.seen, hearing.notes, strict=False)
    )
    good = sum(1 for one in hearing.notes if one.note.refused is None)
    said = f"{len(hearing.notes)} notes in {hearing.seconds:.1f} s, {len(hearing.notes) - good} left out."
    if len(hearing.notes) > len(strips):
        said += f" The first {len(strips)} are drawn."
    if hearing.channels > 1:
        said += f" Channel {hearing.channel} of {hearing.channels}."
    said = f"{about}. {said}" if about else said
    return draw_hearing(HearingSheet(hearing.file, said, strips))


def _seen(note: Note, sound: Sound) -> NoteStrip:
    """Sound, pitch in time and partials of one note."""
    times, levels = _outline(sound, note.start)
    strip = NoteStrip("", (), "", times, levels)
    if note.first_partial is None or not note.partials:
        return strip
    from setwright.listening.bands import band, prepared

    first = max(round((note.used[0] - sound.start) * sound.rate), 0)
    last = round((note.used[1] - sound.start) * sound.rate)
    samples = (sound.samples - sound.samples.mean())[first:last]
    ringing = _ringing(note, note.fundamental or note.first_partial, samples, sound.rate)
    if ringing is None:
        return strip
    bands = prepared(samples, sound.rate, float(ringing.law.fundamental))
    cut = band(bands, float(ringing.hertz[0]))
    trace = _trace(note, ringing, bands, cut)
    used = (note.used[0] - note.start, note.used[1] - note.start)
    apart = CENTS_PER_LOG * ringing.law.apart
    return replace(strip, used=used, trace=trace, bars=_bars(ringing), apart=apart)


def _ringing(note: Note, fundamental: float, samples: Array, rate: float) -> Ringing | None:
    """The partials of a note that were used, about its own fundamental and inharmonicity, along its glide."""
    from setwright.listening.bands import thinned
    from setwright.listening.notes import EARLY, GLIDES, HIGHEST, MANY
    from setwright.listening.partials import ahead, followed
    from setwright.listening.spectrum import Coarse, peaks_of

    coarse = Coarse(fundamental, note.inharmonicity or 0.0, 1.0, 0.0)
    top = min(0.45 * rate, HIGHEST, MANY * fundamental)
    samples, rate = thinned(samples, rate, 2.4 * top)
    top = min(0.45 * rate, top)
    early = peaks_of(samples[: max(int(EARLY * rate), 1)], rate, top)
    found = followed(samples, rate, _used(early, note.partials, coarse), coarse)
    if found is None:
        return None
    times = np.arange(len(samples)) / rate
    lead = ahead(found, times)
    level = samples if lead[-1] == 0.0 else np.interp(times, times + lead, samples)
    peaks = _used(peaks_of(level, rate, top), note.partials, coarse)
    bent = lead if found.glide > GLIDES else None
    return followed(samples, rate, peaks, coarse, bent, note.used[0] - note.start) or found


def _used(peaks: Peaks, partials: tuple[int, ...], coarse: Coarse) -> Peaks:
    """Those peaks that are partials which were used."""
    from setwright.listening.law import stretch
    from setwright.listening.spectrum import Peaks

    places = coarse.fundamental * stretch(np.array(partials, dtype=float), coarse.inharmonicity)
    near = np.abs(peaks.hertz[:, None] - places).min(axis=1, initial=np.inf) < NEAR * coarse.fundamental
    return Peaks(peaks.hertz[near], peaks.amplitude[near], peaks.floor[near])


def _outline(sound: Sound, onset: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Times from the onset [s], and the highest sample about each [dB of full scale]."""
    count = len(sound.samples)
    wanted = max(min(POINTS, round(count / sound.rate / PIECE)), 1)
    pieces = np.array_split(np.abs(sound.samples - sound.samples.mean()), wanted) if count else []
    peaks = np.array([piece.max() for piece in pieces])
    middles = (np.arange(len(pieces)) + 0.5) * count / max(len(pieces), 1) / sound.rate + sound.start - onset
    levels = np.maximum(20.0 * np.log10(np.maximum(peaks, 1e-9)), SILENT)
    return tuple(middles.tolist()), tuple(levels.tolist())


def _bars(ringing: Ringing) -> tuple[Bar, ...]:
    """Every partial against the law, with what its distance from it is unsure by: what all share moves the law along.

    With y the logarithms, W their weights and X the law's derivatives, what is left is M y, M = 1 - X (X'WX)^-1 X'W;
    its covariance is M C M' (least squares, any textbook)."""
    from setwright.listening.law import stretch

    law, number = ringing.law, ringing.numbers.astype(float)
    off = CENTS_PER_LOG * np.log(ringing.hertz / (law.fundamental * stretch(number, law.inharmonicity)))
    by = np.column_stack([np.ones(len(number)), 0.5 * number**2 / (1.0 + law.inharmonicity * number**2)])
    weight = np.linalg.inv(ringing.covariance + law.apart**2 * np.eye(len(number)))
    weight = weight * np.outer(law.counted, law.counted)
    keep = np.eye(len(number)) - by @ np.linalg.pinv(by.T @ weight @ by) @ by.T @ weight
    half = WIDE * CENTS_PER_LOG * np.sqrt(np.maximum(np.diag(keep @ ringing.covariance @ keep.T), 0.0))
    each = zip(ringing.numbers, off, np.maximum(half, FINEST), law.counted, strict=True)
    return tuple(Bar(int(n), float(o), float(h), bool(c)) for n, o, h, c in each)


def _trace(note: Note, ringing: Ringing, bands: Bands, cut: Complex) -> Trace:
    """Frequency of the lowest partial window by window."""
    phase, times = np.unwrap(np.angle(cut)), bands.times
    noise = float(ringing.noise[0])
    long = max(WINDOW, float(times[-1] - times[0]) / WINDOWS)
    width = max(round(long / float(times[1] - times[0])), 4)
    middle, cents, half = [], [], []
    for at in range(0, len(times) - width + 1, max(width // 2, 1)):
        part = slice(at, at + width)
        amplitude = float(np.sqrt(np.mean(np.abs(cut[part]) ** 2)))
        if amplitude < LOUD * noise:
            break
        since = times[part] - times[part].mean()
        spread = float((since**2).sum())
        slope = float((since * phase[part]).sum()) / spread / (2.0 * math.pi)
        sd = noise / amplitude * math.sqrt(bands.effective / spread) / (2.0 * math.pi)
        middle.append(float(times[part].mean()))
        cents.append(CENTS_PER_LOG * slope / float(ringing.hertz[0]))
        half.append(max(WIDE * CENTS_PER_LOG * sd / float(ringing.hertz[0]), LEAST))
    own = _own(note, ringing)
    left = np.exp(-np.outer(np.array(middle), ringing.rates)) @ ringing.sizes
    begin = note.used[0] - note.start
    return Trace(
        int(ringing.numbers[0]), tuple(begin + t for t in middle), tuple(c + own for c in cents), tuple(half),
        tuple((CENTS_PER_LOG * np.log1p(left)).tolist()), max(WIDE * (note.first_partial_sd or 0.0), LEAST),
    )  # fmt: skip


def _own(note: Note, ringing: Ringing) -> float:
    """Cents from the pitch reported to where the lowest partial itself was heard to settle; 0 for any but the first."""
    if int(ringing.numbers[0]) != 1 or not note.first_partial:
        return 0.0
    return CENTS_PER_LOG * math.log(float(ringing.hertz[0]) / note.first_partial)


def _head(one: Heard) -> str:
    """A note by string and fret and its time."""
    minutes, seconds = divmod(one.note.start, 60.0)
    when = f"{minutes:.0f}:{seconds:04.1f}"
    if one.string is None:
        return f"{when}  left out" if one.note.refused else when
    where = {"open": "open", "harmonic": f"harmonic at {one.fret}"}.get(one.kind or "", f"fret {one.fret}")
    return f"{when}  string {one.string} {where}"


def _lines(one: Heard, reference: float) -> tuple[str, ...]:
    """Pitch, partials, glide."""
    note = one.note
    if note.first_partial is None:
        return (f"to {note.end:.1f} s",) if note.end > note.start else ()
    half = max(WIDE * (note.first_partial_sd or 0.0), LEAST)
    places = min(max(places_for(half), 0), 2)
    hertz = note.first_partial
    digits = min(max(places_for(half * hertz / CENTS_PER_LOG), 1), 3)
    band = f"± {half:.{places}f} c"
    number = note_number(hertz, reference)
    nearest = math.floor(number + 0.5)
    out = [f"{hertz:.{digits}f} Hz"]
    if 0 <= nearest < 120:
        cents = show_cents(100.0 * (number - nearest), max(half, FINEST_SHOWN), signed=True).removesuffix(" c")
        out = [f"{note_name(nearest)} {cents} {band}, {out[0]}"]
    if note.partials:
        span = f"{len(note.partials)} partials, {note.partials[0]} to {note.partials[-1]}"
        stiff = f", B {note.inharmonicity:.2g}" if note.inharmonicity is not None else ""
        out.append(span + stiff)
    if note.glide is not None:
        left = "" if note.left is None else f", {note.left:.2f} c at its end"
        out.append(f"sharp by {note.glide:.1f} c at first{left}")
    if note.beating is not None:
        out.append(f"beats: two tones {abs(note.beating):.1f} c apart")
    out.append(
        f"used {note.used[0] - note.start:.2f} to {note.used[1] - note.start:.2f} s of {note.end - note.start:.2f} s"
    )
    return tuple(out)
