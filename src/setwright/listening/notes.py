"""What is reported of one note. A stiff string has no single pitch: every figure says which it is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from setwright.listening.bands import band, prepared, thinned
from setwright.listening.by_itself import by_itself
from setwright.listening.hum import LINES, MAINS, hum_of
from setwright.listening.law import Law, between, rising, stretch
from setwright.listening.partials import DOUBTED, POOR, Ringing, ahead, followed, surest
from setwright.listening.sound import Sound
from setwright.listening.spectrum import Coarse, Peaks, coarse_pitches, peaks_of
from setwright.physics.pitch import CENTS_PER_LOG

Array = NDArray[np.float64]

EARLY = 0.35  # s of the note's first part, in which its partials are looked for before the glide is known
HIGHEST = 12e3  # Hz up to which partials are looked for
MANY = 40  # partials, the same
FRAME = 0.01  # s
RISE = 0.05  # of the power of the loudest frame, from which on a note has begun
QUIET = 1e-6  # of it, under which the note is over
STAYS = 10  # frames a note stays under that: one that beats rises again
DAMPED = 14.0  # dB within four frames; no string falls so fast by itself
ATTACK = 0.03  # s after the onset, of pick and finger
SHORTEST = 0.25  # s that must be left
AT_LIMIT = 0.999  # of the greatest sample of its side
SETTLED = 0.05  # cents of glide left, under which it has finished
LEAST_EXPLAINED = 0.25  # share of the peaks' weight a string must explain
WIDEST = 5.0  # cents, standard uncertainty from which a pitch is refused
FALLEN = (0.5, 0.25)  # of the loudest, to which a note is waited for
LATE = 0.4  # s that must be left then
ANY_STRING = 25.0  # cents, usual departure of partials from the law, from which on it is none
LAWLESS = (0.1, 1.4)  # of the bands left over, about which a sound keeps to no law; times more or less, within which
# both answers count
ASTRAY = (0.2, 1.5)  # cents partials lie off the law, the same
TELLING = 4  # partials from which that is seen
BEFORE = 0.08  # s ahead of the onset that is looked at then
OVERTONES = 8.0  # times the first partial, the rate that does for it
SURER = 4.0  # power of 1 over the uncertainties, by which they do
GLIDES = 0.3  # cents, from which a glide is taken out before partials are followed again


@dataclass(frozen=True)
class Note:
    """One note as heard. None: not known. Standard uncertainties of frequencies are in cents."""

    start: float  # s in the recording, its onset
    end: float  # s, where it was damped or the next one began
    used: tuple[float, float] = (0.0, 0.0)  # s, the part used
    first_partial: float | None = None  # Hz, its own settled frequency
    first_partial_sd: float | None = None
    fundamental: float | None = None  # Hz, f0 of f_n = n f0 sqrt(1 + B n^2)
    fundamental_sd: float | None = None
    inharmonicity: float | None = None  # B
    inharmonicity_sd: float | None = None  # of B itself
    glide: float | None = None  # cents sharp over the first 0.05 s of the part used
    glide_sd: float | None = None
    glide_time: float | None = None  # s, after which a third of it is left
    left: float | None = None  # cents of it left where the part used ends
    settled: bool = False  # whether the glide had finished
    beating: float | None = None  # cents between two tones of the first partial; None: none heard
    decay: float | None = None  # s, in which the first partial falls to a third
    level: float = 0.0  # dB of full scale, the highest sample
    clipped: float = 0.0  # share of the samples that stand at the limit
    hum: float | None = None  # dB below the note
    noise: float | None = None  # dB below the note
    partials: tuple[int, ...] = ()  # which were used
    refused: str | None = None  # why it is not to be trusted, in plain words


def measure(sound: Sound, about: float | None = None) -> Note:
    """One note: its pitch, everything else about it, and whether it is to be trusted.

    Args:
        sound: a recording, or a part of one, with one note in it.
        about: the pitch expected, a semitone to either side is looked at [Hz].
    Returns: the note; refused with a reason where it is not to be trusted.
    """
    samples = sound.samples - sound.samples.mean()
    rate = sound.rate
    part = part_of(samples, rate)
    level = 20.0 * float(np.log10(max(np.abs(sound.samples).max(), 1e-9)))
    start, end = sound.start + part.onset / rate, sound.start + part.end / rate
    note = Note(start, end, level=level, clipped=part.clipped)
    if part.refused:
        return replace(note, refused=part.refused)
    used = samples[part.first : part.end]
    note = replace(note, used=(sound.start + part.first / rate, end))
    before = samples[max(part.onset - int(BEFORE * rate), 0) : part.first]
    coarse, ringing = ringing_of(used, rate, about, (part.first - part.onset) / rate, before)
    if coarse is None:
        return replace(note, refused="no tone stands above the noise")
    if ringing is None:
        return replace(note, refused="fewer than two partials stand above the noise")
    law = ringing.law
    note = replace(note, used=(note.used[0] + ringing.since, end))
    amplitude = float(np.sqrt((ringing.amplitude**2).sum()))
    first = replace(
        note,
        first_partial=law.first,
        first_partial_sd=CENTS_PER_LOG * law.first_sd,
        fundamental=law.fundamental,
        fundamental_sd=CENTS_PER_LOG * law.fundamental_sd,
        inharmonicity=law.inharmonicity,
        inharmonicity_sd=law.inharmonicity_sd,
        glide=ringing.glide,
        glide_sd=ringing.glide_sd,
        glide_time=1.0 / ringing.glide_rate,
        left=ringing.left,
        settled=ringing.left < SETTLED,
        beating=ringing.split,
        decay=float(1.0 / ringing.decay[0]) if ringing.numbers[0] == 1 else None,
        hum=ringing.hum,
        noise=20.0 * float(np.log10(amplitude / max(float(np.median(ringing.noise)), 1e-12))),
        partials=tuple(int(n) for n in ringing.numbers),
    )
    return replace(first, refused=_doubt(first, coarse, CENTS_PER_LOG * law.apart))


def _doubt(note: Note, coarse: Coarse, apart: float = 0.0) -> str | None:
    """Why a note is not to be trusted."""
    assert note.first_partial_sd is not None
    if coarse.share < LEAST_EXPLAINED:
        return "its partials fit no string: talk, a chord or noise"
    if apart > ANY_STRING:
        return f"its partials lie {apart:.0f} cents off those of any string"
    if note.first_partial_sd > WIDEST:
        return f"its pitch is known to {note.first_partial_sd:.1f} cents only"
    return None


@dataclass(frozen=True)
class Part:
    """Which part of a recording is the note. Samples."""

    onset: int
    first: int  # of the part used: after the attack and what is clipped
    end: int
    clipped: float
    refused: str | None = None


def part_of(samples: Array, rate: float) -> Part:
    """Where a note begins and ends, and from where on it can be used.

    Args:
        samples: (N) without its constant part.
        rate: [Hz].
    Returns: the part.
    """
    peak = float(np.abs(samples).max()) if len(samples) else 0.0
    if peak == 0.0:
        return Part(0, 0, len(samples), 0.0, "nothing is heard")
    frame = max(int(FRAME * rate), 1)
    count = len(samples) // frame
    if count < 3:
        return Part(0, 0, len(samples), 0.0, "too short")
    power = np.mean(samples[: count * frame].reshape(count, frame) ** 2, axis=1)
    loud = int(np.argmax(power))
    above = np.flatnonzero(power[: loud + 1] < RISE * power[loud])
    onset = (int(above[-1]) + 1) * frame if len(above) else 0
    floor = float(np.percentile(power, 5))
    quiet = np.flatnonzero(
        _still_to_come(power[loud:], STAYS)
        < max(QUIET * power[loud], 2.0 * floor if floor < 1e-3 * power[loud] else 0.0)
    )
    end = min((loud + int(quiet[0])) * frame if len(quiet) else len(samples), len(samples))
    end = _damped(power, loud, end // frame) * frame if end // frame > loud + 4 else end
    limit = (samples >= AT_LIMIT * samples.max()) | (samples <= AT_LIMIT * samples.min())  # the sides may differ
    runs = limit[:-1] & limit[1:]
    clipped = float(np.mean(limit)) if runs.sum() > 8 else 0.0
    first = onset + int(ATTACK * rate)
    if clipped > 0.0:
        last = int(np.flatnonzero(runs)[-1]) + 1
        first = max(first, last) if end - last > SHORTEST * rate else first
    if end - first < SHORTEST * rate:
        return Part(onset, first, end, clipped, f"it rings for {max(end - first, 0) / rate:.2f} s only")
    return Part(onset, first, end, clipped)


def _still_to_come(level: Array, frames: int) -> Array:
    """(N) the highest of so many frames from each on."""
    return np.asarray(sliding_window_view(np.pad(level, (0, frames - 1), mode="minimum"), frames).max(axis=1))


def _damped(power: Array, loud: int, last: int) -> int:
    """Frame at which a note was damped: where it falls faster than any string."""
    level = 10.0 * np.log10(np.maximum(power[loud:last], 1e-30))
    ahead = 4
    stays = _still_to_come(level, ahead)  # low notes have gaps
    fall = level[:-ahead] - stays[ahead:]
    late = np.flatnonzero(fall[ahead:] > DAMPED)
    return loud + ahead + int(late[0]) if len(late) else last


def ringing_of(
    samples: Array, rate: float, about: float | None, since: float = ATTACK, before: Array | None = None
) -> tuple[Coarse | None, Ringing | None]:
    """Coarse pitch, then the partials followed along their glide, then explained.

    Args:
        samples: (N) of the part used.
        rate: [Hz].
        about: pitch expected [Hz].
        since: from the release to the start of the part used [s].
        before: (M) what stands before it, from ahead of the onset on.
    Returns: coarse pitch and partials, None where there are none.
    """
    whole = Sound(samples if before is None else np.concatenate([before, samples]), rate)
    samples, rate = thinned(samples, rate, 2.2 * HIGHEST)
    peaks = peaks_of(samples[: max(int(EARLY * rate), 1)], rate, min(0.45 * rate, HIGHEST))
    some = coarse_pitches(peaks, about)
    if not some:
        return None, None
    coarse = surest(peaks, some)
    top = min(0.45 * rate, HIGHEST, MANY * coarse.fundamental)
    samples, rate = thinned(samples, rate, 2.4 * top)
    samples, hum = _without_hum(samples, rate, coarse)
    ringing = followed(samples, rate, peaks, coarse)
    if ringing is None:
        return coarse, None
    step = int(np.gcd.reduce(ringing.numbers)) if about is None else 1
    if step > 1:  # every step-th partial alone is all of a string that much higher
        shape = step**2 * coarse.inharmonicity
        coarse = Coarse(step * coarse.fundamental, shape, coarse.share, coarse.rival)
        ringing = followed(samples, rate, peaks, coarse) or ringing
    times = np.arange(len(samples)) / rate
    early = ahead(ringing, times)
    level = samples if early[-1] == 0.0 else np.interp(times, times + early, samples)
    coarse = Coarse(ringing.law.fundamental, ringing.law.inharmonicity, coarse.share, coarse.rival)
    again = peaks_of(level, rate, min(0.45 * rate, top))
    early = early if ringing.glide > GLIDES else np.zeros(len(samples))
    found = _later(samples, rate, again, coarse, early, since)
    if found is None:  # they are not followed to the end
        found = replace(ringing, lawless=_lawless(replace(ringing, poor=1.0)))
    if found.lawless > 0.0 and ringing.numbers[0] == 1:
        found = replace(found, law=_by_itself(whole, float(ringing.hertz[0]), found))
    return coarse, replace(found, hum=hum)


def _without_hum(samples: Array, rate: float, coarse: Coarse) -> tuple[Array, float | None]:
    """The same less what hums in it, and how far that is below the rest [dB]."""
    many = int(LINES * max(MAINS) / coarse.fundamental) + 2
    hum = hum_of(samples, rate, coarse.fundamental * stretch(np.arange(1.0, many + 1.0), coarse.inharmonicity))
    if hum is None:
        return samples, None
    less = samples - hum.samples
    return less, 10.0 * float(np.log10(np.mean(less**2) / hum.power))


def _later(samples: Array, rate: float, peaks: Peaks, coarse: Coarse, early: Array, since: float) -> Ringing | None:
    """The partials explained; where much is left over, those of the note after it has fallen too, each by how sure it
    is and how little it leaves over.

    What bends a loud sound (a valve, a magnet, a limit that is reached softly) does so by the square of its height.
    """
    found: list[Ringing] = []
    for begin in _begins(samples, rate):
        bent = early[begin:] if early.any() else None
        one = followed(samples[begin:], rate, peaks, coarse, bent, since + begin / rate)
        if one is None:
            break
        found.append(replace(one, since=begin / rate))
        if one.poor < POOR / DOUBTED or _lawless(found[0]) == 1.0:
            break
    if not found:
        return None
    weight = np.array([1.0 / (one.law.first_sd * float(np.clip(one.poor / POOR, 1.0, 1.0 / POOR))) for one in found])
    law = between([one.law for one in found], weight**2)
    return replace(found[int(np.argmax(weight))], law=law, lawless=_lawless(found[0]))


def _lawless(first: Ringing) -> float:
    """How far a sound keeps to no law of a string, 0 to 1: much of all its note is left over, and partials lie off
    it, where there are enough to see that."""
    left = rising(np.log(max(first.poor, 1e-9) / LAWLESS[0]) / np.log(LAWLESS[1]))
    off = rising(np.log(CENTS_PER_LOG * first.law.apart / ASTRAY[0]) / np.log(ASTRAY[1]))
    return left * (off if len(first.numbers) >= TELLING else 1.0)


def _by_itself(whole: Sound, hertz: float, found: Ringing) -> Law:
    """The law, its first partial told from that alone as far as the sound keeps to none and this is surer.

    The whole note is looked at, its attack too, so that nothing goes by where the part used begins.
    """
    samples, rate = thinned(whole.samples, whole.rate, OVERTONES * hertz)
    bands = prepared(samples, rate, hertz)
    alone = by_itself(band(bands, hertz), bands.times, hertz)
    if alone is None:
        return found.law
    here = replace(found.law, first=alone[0], first_sd=alone[1])
    weight = np.array([1.0 - found.lawless, found.lawless]) / np.array([found.law.first_sd, here.first_sd]) ** SURER
    both = between([found.law, here], weight)
    return replace(found.law, first=both.first, first_sd=both.first_sd)


def _begins(samples: Array, rate: float) -> list[int]:
    """Samples from which on a note has fallen by so much, `LATE` of it left.

    What is still to come, the energy from a moment to the end, never rises and is smooth, also where a note beats.
    """
    ahead = np.cumsum(samples[::-1] ** 2)[::-1]
    begins = [int(np.count_nonzero(ahead > fallen**2 * ahead[0])) for fallen in FALLEN]
    return [0, *(begin for begin in begins if len(samples) - begin > LATE * rate)]
