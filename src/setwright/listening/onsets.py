"""Where the notes of a take begin and end, page by page, so that memory does not grow with the take.

Derived here. A page is cut into frames of 40 ms, 5 ms apart. A frame's news is how far every bin of its spectrum stands
above the loudest it was in the 80 ms before and above the noise, in decibels, at most `CAP` a bin. A partial of a
note that rings on gives no news, nor do hum, a constant part or beats, which swell slowly; a string plucked anew does,
softly or loudly, since decibels are counted. A note lasts while the bins it brought stand above the noise, are not
damped, and until the next begins; a knock that leaves them standing does not end it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from setwright.listening.sound import Sound

Array = NDArray[np.float64]
Single = NDArray[np.float32]

HOP = 0.005  # s
FRAME = 8  # hops
TOP = 5000.0  # Hz
PAGE = 60.0  # s
LONGEST = 20.0  # s; nothing later of a note is used
SHORTEST = 0.3  # s
KNOCK = 0.15  # s; what is gone sooner was no string
LEAD = 32  # frames before a page, of silence where the recording begins
CAP = 15.0  # dB of news a bin can bring
NEWS = 60.0  # dB; less is no onset
OVER = 8.0  # dB over the noise before a bin counts
BIAS = 8.0  # dB from the low quantiles taken below to the mean of noise (measured on white noise)
APART = 14  # frames between onsets
FAST, FALL, SPAN, STAYS = 12, 12.0, 50, 8.0  # frames, dB within them, frames it then stays below by so many dB
WEAKER = 25.0  # dB below its strongest bin, what a note is followed by
CLEAR = 0.02  # s left out before the next onset
LOOKED = 2.0  # s from a note's onset in which its pitch is watched
FALLS, RISES = -35.0, 6.0  # cents; a string plucked hard falls by up to 30 (common practice, no source)
AXIS = (60.0, 2500.0)  # Hz
STEP, SHIFTS = 2.0, 120.0  # cents
_FLOOR = 1e-13  # power of a bin below which nothing is heard, of full scale


@dataclass(frozen=True)
class Candidate:
    """What may be a note. start: its onset [s]. end: where it was damped, fell into the noise or the next began, at
    most `LONGEST` after its start [s]. part: what of it should be measured [s]. doubt: why it is no note, "" when
    nothing speaks against it."""

    start: float
    end: float
    part: tuple[float, float]
    doubt: str = ""


@dataclass(frozen=True)
class Onset:
    """A beginning. frame: of the page. time: from the page's start [s]. bins: it brought, the strongest."""

    frame: int
    time: float
    bins: NDArray[np.intp]


@dataclass(frozen=True)
class Frames:
    """Spectra of a page. levels: (F, K) dB of full scale, `LEAD` frames of silence or of the page before first.
    noise: (K) dB, its mean. width: of a bin [Hz]. hop: [s]."""

    levels: Single
    noise: Array
    width: float
    hop: float

    def time(self, frame: float) -> float:
        """Middle of a frame, from the page's start [s]."""
        return (frame - LEAD + FRAME / 2) * self.hop


def notes_of(blocks: Iterable[Sound]) -> Iterator[tuple[Candidate, Sound]]:
    """What may be notes in a take, in its order, each with the sound of the part to be measured.

    Args:
        blocks: of one recording, following each other.
    Returns: candidates with their sound; that of a doubtful one too.
    """
    for page, begin, until in _pages(blocks):
        for one in candidates(page, begin, until):
            first = max(0, round((one.part[0] - page.start) * page.rate))
            last = round((one.part[1] - page.start) * page.rate)
            yield one, Sound(page.samples[first:last], page.rate, page.start + first / page.rate)


def _pages(blocks: Iterable[Sound]) -> Iterator[tuple[Sound, float, float]]:
    """Pages that overlap, and from when to when [s] the onsets of each are its own."""
    held: list[Sound] = []
    count, begin = 0, -1.0
    for block in blocks:
        held.append(block)
        count += len(block.samples)
        if count >= PAGE * block.rate:
            page = _joined(held)
            until = page.start + count / page.rate - LONGEST - 1.0
            yield page, begin, until
            begin = until
            kept = page.samples[max(0, round((until - 2.0 - page.start) * page.rate)) :].copy()
            start = page.start + (count - len(kept)) / page.rate
            held, count = [Sound(kept, page.rate, start)], len(kept)
    if held and count:
        yield _joined(held), begin, float("inf")


def _joined(held: list[Sound]) -> Sound:
    return Sound(np.concatenate([one.samples for one in held]), held[0].rate, held[0].start)


def candidates(page: Sound, begin: float = -1.0, until: float = float("inf")) -> list[Candidate]:
    """What may be notes on one page.

    Args:
        page: of a recording.
        begin: onsets before it are left out [s].
        until: onsets from it on are left out [s].
    Returns: candidates, in order of time.
    """
    frames = spectra(page)
    found = onsets(frames)
    later = [*(one.frame for one in found[1:]), len(frames.levels)][: len(found)]
    lives = [_life(frames, one, after) for one, after in zip(found, later, strict=True)]
    out = []
    for i, one in enumerate(found):
        if not begin <= page.start + one.time < until:
            continue
        if _is_damping(frames, found, lives, i) or (lives[i] - one.frame <= LEAD and one.time < CLEAR and begin < 0.0):
            continue
        end, part = _extent(frames, found, lives, i, len(page.samples) / page.rate)
        part = (page.start + part[0], page.start + part[1])
        out.append(Candidate(page.start + one.time, page.start + end, part, _doubt(page, one, end, part)))
    return out


def spectra(page: Sound) -> Frames:
    """Levels of all bins in frames of 40 ms, and their noise.

    Args:
        page: of a recording.
    Returns: the frames.
    """
    step = max(1, round(HOP * page.rate))
    size = FRAME * step
    window = np.hanning(size + 1)[:-1]
    bins = min(int(TOP / page.rate * size), int(0.45 * size))
    short = max(0, size - len(page.samples))
    padded = np.concatenate([np.zeros(LEAD * step), page.samples - page.samples.mean(), np.zeros(short)])
    cut = np.lib.stride_tricks.sliding_window_view(padded, size)[::step]
    levels = np.empty((len(cut), bins), np.float32)
    scale = 4.0 / window.sum() ** 2
    for at in range(0, len(cut), 512):
        power = np.abs(np.fft.rfft(cut[at : at + 512] * window, axis=1)[:, 1 : bins + 1]) ** 2
        levels[at : at + 512] = 10.0 * np.log10(scale * power + _FLOOR)
    inside = levels[LEAD:]
    return Frames(levels, _noise(inside), page.rate / size, step / page.rate)


def _noise(levels: Single) -> Array:
    """Mean noise of every bin [dB]: low quantiles over neighbouring bins and over time; hum and whistles, which stand
    still, count as noise at their own level."""
    count = levels.shape[1]
    edges = np.unique(np.linspace(0, count, max(2, count // 16) + 1).astype(int))
    middles = 0.5 * (edges[:-1] + edges[1:] - 1)
    quiet = [np.quantile(np.quantile(levels[:, a:b], 0.25, axis=1), 0.05) for a, b in pairwise(edges)]
    noise = np.interp(np.arange(count), middles, quiet) + BIAS
    whole = len(levels) // 40
    if whole >= 10:
        slow = levels[: whole * 40].reshape(whole, 40, count).mean(axis=1)
        low, some, high = np.quantile(slow, (0.05, 0.3, 0.95), axis=0)
        still = (some - low < 1.5) if whole >= 40 else (high - low < 3.0)
        noise = np.where(still & (low > noise + 3.0), some, noise)
    return np.asarray(np.maximum(noise, 10.0 * np.log10(_FLOOR) + BIAS), dtype=np.float64)


def onsets(frames: Frames) -> list[Onset]:
    """Where something begins.

    Args:
        frames: of a page.
    Returns: beginnings, in order of time.
    """
    levels = frames.levels
    before = _loudest_before(levels)
    gate = (frames.noise + OVER).astype(np.float32)
    rise = np.clip(levels - np.maximum(before, gate), 0.0, CAP)
    news = rise.sum(axis=1)
    picked: list[int] = []
    for i in np.flatnonzero(news > NEWS):
        near = news[max(0, i - APART // 2) : i + APART // 2 + 1]
        if news[i] < near.max():
            continue
        if not picked or i - picked[-1] > APART:
            picked.append(int(i))
        elif news[i] > news[picked[-1]]:
            picked[-1] = int(i)
    return [_refined(frames, before, gate, i) for i in picked]


def _loudest_before(levels: Single) -> Single:
    """The loudest of 16 frames that end 4 frames before each, neighbouring bins taken in."""
    most = levels.copy()
    most[:, 1:] = np.maximum(most[:, 1:], levels[:, :-1])
    most[:, :-1] = np.maximum(most[:, :-1], levels[:, 1:])
    for shift in (1, 2, 4, 8):
        most[shift:] = np.maximum(most[shift:], most[:-shift])
    before = np.full_like(most, 10.0 * np.log10(_FLOOR))
    before[4:] = most[:-4]
    return before


def _refined(frames: Frames, before: Single, gate: Single, frame: int) -> Onset:
    """When the bins that are new had half the amplitude they reach: then the onset lies in the middle of the frame."""
    last = len(frames.levels) - 1
    stays = np.median(frames.levels[min(frame + 8, last) : min(frame + 20, last) + 1], axis=0)
    above = stays - np.maximum(before[frame], gate)
    new = np.flatnonzero(above > 3.0)
    bins = new[np.argsort(stays[new])[::-1][:12]]
    bins = bins[stays[bins] > stays[bins[:1]] - WEAKER]
    if not len(new):  # nothing of it stays: a knock, or the last moment of the page
        reached = frames.levels[frame : min(frame + 9, last + 1)].max(axis=0) - np.maximum(before[frame], gate)
        new = np.flatnonzero(reached > 0.5 * reached.max())
    first, until = max(0, frame - 12), min(frame + 12, last + 1)
    power = (10.0 ** (0.1 * frames.levels[first:until, bins if len(bins) else new].astype(np.float64))).sum(axis=1)
    top = int(np.argmax(power))
    level = power[:top].min(initial=power[top])
    want = level + 0.25 * (power[top] - level)
    i = top
    while i > 0 and power[i - 1] >= want:
        i -= 1
    share = (want - power[i - 1]) / (power[i] - power[i - 1]) if i > 0 and power[i] > power[i - 1] else 0.0
    exact = first + i - 1 + share if i > 0 else float(first)
    return Onset(frame, float(max(0.0, frames.time(exact))), bins)


def _life(frames: Frames, one: Onset, after: int) -> int:
    """Frame in which what an onset brought has been damped or has fallen into the noise; after: frame of the next."""
    if not len(one.bins):
        return one.frame
    last = min(len(frames.levels), one.frame + round(LONGEST / frames.hop))
    power = 10.0 ** (0.1 * frames.levels[one.frame : last, one.bins].astype(np.float64))
    level = 10.0 * np.log10(power.sum(axis=1))
    smooth = np.convolve(level, np.ones(5) / 5, mode="same") if len(level) > 5 else level
    smooth[-2:], smooth[:2] = level[-2:], level[:2]
    noise = 10.0 * np.log10((10.0 ** (0.1 * frames.noise[one.bins])).sum())
    sunk = np.flatnonzero(smooth[4:] < noise + 4.0)
    ends = [len(level), *(sunk[:1] + 4)]
    if len(level) > FAST:
        for i in np.flatnonzero(smooth[FAST:] < smooth[:-FAST] - FALL) + FAST:
            high = smooth[i - FAST]
            quiet = min(i + SPAN, after - one.frame - FRAME) if i < after - one.frame else i + SPAN
            if smooth[i : max(quiet, i + 1)].max() < high - STAYS:
                ends.append(int(i - FAST + np.argmax(smooth[i - FAST : i + 1] < high - 3.0)))
                break
    return int(one.frame + min(ends))


def _extent(
    frames: Frames, found: list[Onset], lives: list[int], i: int, length: float
) -> tuple[float, tuple[float, float]]:
    """End of a note, and its longest stretch without a knock, both from the page's start [s]."""
    one = found[i]
    end = min(frames.time(lives[i]), one.time + LONGEST, length)
    cuts, begin = [], one.time
    for other, life in zip(found[i + 1 :], lives[i + 1 :], strict=True):
        if other.time >= end:
            break
        cuts.append((begin, other.time - CLEAR))
        if (life - other.frame) * frames.hop > KNOCK or not _rings_on(frames, one, other):
            begin = end = other.time
            break
        begin = other.time + KNOCK
    if begin < end:
        cuts.append((begin, end))
    start, stop = max(cuts, key=lambda cut: cut[1] - cut[0], default=(one.time, end))
    return end, (start, max(start, stop))


def _is_damping(frames: Frames, found: list[Onset], lives: list[int], i: int) -> bool:
    """Whether an onset is the sound of a hand that damps the note before it: a knock with which that note ends."""
    if i == 0 or (lives[i] - found[i].frame) * frames.hop >= KNOCK:
        return False
    return abs(lives[i - 1] - found[i].frame) <= SPAN // 2 and (lives[i - 1] - found[i - 1].frame) * frames.hop >= KNOCK


def _rings_on(frames: Frames, one: Onset, knock: Onset) -> bool:
    """Whether the bins of a note stand after a knock as they did before it."""
    at = knock.frame
    before = frames.levels[max(one.frame, at - 16) : max(one.frame, at - 10) + 1, one.bins].mean()
    after = frames.levels[at + 30 : at + 40, one.bins]
    return bool(len(after) and after.mean() > before - 6.0)


def _doubt(page: Sound, one: Onset, end: float, part: tuple[float, float]) -> str:
    """Why a candidate is no note; "" when nothing speaks against it."""
    lasts = end - one.time
    if lasts < KNOCK:
        return f"a knock, gone after {lasts:.2f} s"
    if part[1] - part[0] < SHORTEST:
        return f"too short: {max(part[1] - part[0], 0.0):.2f} s of it are clear, at least {SHORTEST:g} s are needed"
    first = round((part[0] + 0.04 - page.start) * page.rate)
    size = round(min(0.5 * (part[1] - part[0] - 0.04), 0.25) * page.rate)
    early, late = (page.samples[at : at + size] for at in (first, first + size))
    spectra = [np.abs(np.fft.rfft(piece * np.hanning(len(piece)))) for piece in (early, late)]
    width = page.rate / size
    kept = slice(max(1, round(40.0 / width)), min(round(2500.0 / width), len(spectra[0])))
    a, b = spectra[0][kept], spectra[1][kept]
    if _flatness(a) > 0.35:
        return "noisy: a rush without a pitch"
    if float(a @ b) < 0.5 * float(np.linalg.norm(a) * np.linalg.norm(b)):
        return "its pitch moves, as in talk or while a peg is turned"
    last = round((min(part[1], part[0] + LOOKED) - page.start) * page.rate) - size
    cents = _moved(early, page.samples[last : last + size], page.rate)
    if not FALLS <= cents <= RISES:
        return f"its pitch {'rises' if cents > 0.0 else 'falls'} by about {abs(cents):.0f} c, as while a peg is turned"
    return ""


def _moved(early: Array, late: Array, rate: float) -> float:
    """By how much the later of two pieces is sharper [cents]: the shift on an axis of cents at which their spectra are
    most alike. A string's own glide falls, with its tension; it never rises."""
    size = 1 << int(np.ceil(np.log2(4 * len(early))))
    hertz = AXIS[0] * 2.0 ** (np.arange(0.0, 1200.0 * np.log2(min(AXIS[1], 0.4 * rate) / AXIS[0]), STEP) / 1200.0)
    shapes = []
    for piece in (early, late):
        amplitude = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), size))
        shape = np.sqrt(np.interp(hertz, np.arange(len(amplitude)) * rate / size, amplitude))
        shapes.append(shape - shape.mean())
    most = round(SHIFTS / STEP)
    alike = np.correlate(shapes[1], shapes[0][most:-most], mode="valid")
    return STEP * (int(np.argmax(alike)) - most)


def _flatness(amplitude: Array) -> float:
    """Geometric over arithmetic mean of power in groups of neighbouring bins, by the weight of each: 0.56 for noise."""
    groups = len(amplitude) // 24
    power = amplitude[: groups * 24].reshape(groups, 24) ** 2 + 1e-30
    mean = power.mean(axis=1)
    flat = np.exp(np.log(power).mean(axis=1)) / mean
    return float((flat * np.sqrt(mean)).sum() / np.sqrt(mean).sum())
