"""A narrow band of a sound, moved to frequency zero and thinned out: what one partial does over time."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LONG = 4.0  # periods of the band's spacing the filter is long
WORTH_THINNING = 0.8  # share of the samples, above which thinning them is not worth it
AROUND = 3.0  # times the band kept, what of a sound is moved along a glide
PER_SPACING = 2.0  # samples kept in one period of the spacing


@dataclass(frozen=True)
class Bands:
    """A sound ready to have bands cut out of it.

    The filter is a Hann window squared, `LONG` periods long: gain 1 in its middle, next to nothing a spacing away. Its
    half length is cut from both ends of every band, where it would reach beyond the sound.
    """

    spectrum: Complex  # of the sound, padded, from 0 to half the rate
    response: Array  # of the filter in the bins kept, as `_about` orders them
    size: int  # samples of the padded sound
    rate: float  # Hz, of the sound
    thin: int  # bins kept
    times: Array  # (M) s from the sound's first sample
    kept: slice  # which of the thinned samples lie inside
    density: float  # noise variance of a thinned sample over that of a sample of the sound
    effective: float  # variance of a slow fit over that of independent thinned samples
    alike: Array  # correlation of the noise of thinned samples so many apart


def prepared(samples: Array, rate: float, spacing: float) -> Bands:
    """A sound ready for `band`.

    Args:
        samples: (N).
        rate: [Hz].
        spacing: distance of neighbouring partials [Hz].
    Returns: the bands.
    """
    count = len(samples)
    long = min(max(round(LONG * rate / spacing), 8), count // 2)
    size = _smooth(count + long)
    thin = min(_smooth(int(np.ceil(size / rate * spacing * PER_SPACING))), size)
    step = size / rate / thin
    times = np.arange(thin) * step
    half = 0.5 * long / rate
    inside = np.flatnonzero((times >= half) & (times <= (count - 1) / rate - half))
    kept = slice(int(inside[0]), int(inside[-1]) + 1) if len(inside) else slice(0, 0)
    gain = _response(_about(thin) / size, long)
    density = float((gain**2).sum() / size)
    correlation = np.fft.ifft(gain**2).real
    effective = float(gain[0] ** 2 / (correlation[0]))
    spectrum = np.fft.rfft(samples, size)
    return Bands(spectrum, gain, size, rate, thin, np.asarray(times[kept]), kept, density, effective,
                 correlation / correlation[0])  # fmt: skip


def _about(count: int) -> NDArray[np.int64]:
    """So many bins about one, it first, those below it last."""
    half = count // 2
    return np.concatenate([np.arange(count - half), np.arange(-half, 0)])


def _response(turns: Array, long: int) -> Array:
    """Gain of a Hann window squared of so many samples that are not 0, 1 in its middle.

    Three cosines, and so five of the sums of e^(-i w k) over a window, ends by half: sin(w L / 2) cot(w / 2).

    turns: (K) frequency, of the rate.
    """
    length = long + 1
    total = np.zeros(len(turns))
    for shift, part in ((-2, 0.0625), (-1, 0.25), (0, 0.375), (1, 0.25), (2, 0.0625)):
        off = np.pi * (turns + shift / length)
        near = np.abs(off) < 1e-9
        off = np.where(near, 1.0, off)
        total += part * np.where(near, length, np.sin(length * off) / np.tan(off))
    return np.abs(total) / (0.375 * length)


def _bins(bands: Bands, middle: int, count: int) -> Complex:
    """(count) bins of the sound's spectrum about one, ordered as `_about` does; those beyond its ends are mirrored."""
    at = (middle + _about(count)) % bands.size
    mirrored = at > bands.size // 2
    some = bands.spectrum[np.where(mirrored, bands.size - at, at)]
    return np.where(mirrored, some.conj(), some)


def averaged(bands: Bands, cut: Complex, many: int) -> tuple[Bands, Complex]:
    """Means over so many thinned samples, of bands that turn little in that time.

    Args:
        bands: from `prepared`.
        cut: (N, M) bands.
        many: samples in one [1].
    Returns: what is known of them, and (N, M / many).
    """
    if many < 2:
        return bands, cut
    count = cut.shape[1] // many
    far = np.arange(1, many)
    less = (many + 2.0 * ((many - far) * bands.alike[1:many]).sum()) / many**2  # variance of a mean over that of one
    times = bands.times[: count * many].reshape(count, many).mean(axis=1)
    effective = bands.effective / (many * float(less))
    return replace(bands, times=times, effective=effective), cut[:, : count * many].reshape(len(cut), count, many).mean(
        axis=2
    )


def _smooth(number: int) -> int:
    """Least number not below it with no factor above 5."""
    best = 1 << max(number - 1, 1).bit_length()
    for fives in (1, 5, 25, 125):
        for threes in (1, 3, 9, 27, 81):
            part = fives * threes
            two = 1 << max(-(-number // part) - 1, 0).bit_length()
            best = min(best, part * two)
    return best


def thinned(samples: Array, rate: float, least: float) -> tuple[Array, float]:
    """The same sound with fewer samples, what lies above half their rate left out.

    Args:
        samples: (N).
        rate: [Hz].
        least: lowest rate that will do [Hz].
    Returns: (M) and their rate [Hz]; the same where it is not much lower.
    """
    size = _smooth(len(samples))
    few = _smooth(int(np.ceil(size * least / rate)))
    if few > WORTH_THINNING * size:
        return samples, rate
    spectrum = np.fft.rfft(samples, size)[: few // 2 + 1]
    less = np.fft.irfft(spectrum, few) * (few / size)
    new = rate * few / size
    return np.asarray(less[: int(len(samples) * few / size)]), new


def band(bands: Bands, hertz: float) -> Complex:
    """The band about a frequency, moved to zero.

    Args:
        bands: from `prepared`.
        hertz: its middle [Hz].
    Returns: (M) complex amplitude of what is there at `times`; a cosine of amplitude a and phase p gives a exp(i p).
    """
    step = bands.rate / bands.size
    middle = round(hertz / step)
    moved = _thinned(bands, _bins(bands, middle, bands.thin))
    return np.asarray(moved * np.exp(2j * np.pi * (middle * step - hertz) * bands.times))


def _thinned(bands: Bands, bins: Complex) -> Complex:
    """(M) what stands in the bins kept, filtered, the first of them moved to zero."""
    return np.asarray(np.fft.ifft(bins * bands.response)[bands.kept] * (2.0 * bands.thin / bands.size))


def gliding_band(bands: Bands, hertz: float, early: Array) -> Complex:
    """The same about a frequency that glides: moved along with it before it is filtered, so the filter bends nothing.

    What lies farther than `AROUND` spacings off is left out first; the filter hears next to nothing of it.

    Args:
        bands: from `prepared`.
        hertz: where the glide settles [Hz].
        early: (N) s by which the phase runs ahead, the integral of the relative glide.
    Returns: (M) as `band` gives it, about the settled frequency.
    """
    step = bands.rate / bands.size
    middle = round(hertz / step)
    few = min(round(AROUND * bands.thin), bands.size)
    wide = np.fft.ifft(_bins(bands, middle, few)) * (few / bands.size)
    times = np.arange(few) * (bands.size / bands.rate / few)
    sound = np.arange(len(early)) / bands.rate
    turns = (hertz - middle * step) * times + hertz * np.interp(times, sound, early)
    near = np.fft.fft(wide * np.exp(-2j * np.pi * turns))[_about(bands.thin)]
    moved = _thinned(bands, near * (bands.size / few))
    ahead = np.interp(bands.times, sound, early)
    return np.asarray(moved * np.exp(2j * np.pi * hertz * ahead))
