"""The partials of one ringing note: found, followed, and explained together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from setwright.listening import phases
from setwright.listening.bands import Bands, averaged, band, gliding_band, prepared
from setwright.listening.law import Law, between, fitted, rising, rough, stretch
from setwright.listening.resolved import LONGEST, SHORTEST, resolved
from setwright.listening.spectrum import WITHIN, Coarse, Peaks, weights_of
from setwright.physics.pitch import CENTS_PER_LOG

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

FEW = 4  # partials whose law is not sure enough to leave one out
MOST = 20  # partials that are followed
PLACES = (0.06, 0.09, 0.13, 0.18, 0.24, 0.3)  # of the string, where a pickup may stand
NODE = 0.03  # least share of a partial a pickup hears
LEAST_GLIDE = 1e-8  # relative; less is none
LOW = 6  # partials up to which all are followed
HELD = 0.6  # share of a band in the phase of the model, under which a partial was not followed
UNSEEN = 0.3  # the same where the whole glide is left, and its course has not been seen
UNTOLD = 0.04  # of the glide that is left, its standard uncertainty for what its course does not tell
LOOSE = 0.5  # how far a part of a glide may be from what is expected of it, over that
SURE = 30.0  # times the noise, from which a decay is told by its own partial
NEAR = 0.12  # of the fundamental, how near a peak must lie to its partial
POOR = 0.03  # share of the bands, from which on the explanation of amplitudes is not taken
DOUBTED = 2.0  # times more or less than that, within which both answers count
UNSURE = 3.0  # times the uncertainties of what phases say alone where amplitudes cannot be explained
STEADY = 0.1  # s; what changes faster is noise
STILL = 0.2  # turns, the most a band may turn in a time over which it is averaged
LOUD = 3.0  # times the noise in a band, for its decay to be read
FINE_TIME = 2.5e-4  # s, over which a glide's lead is a straight line
SLOWEST, FASTEST = 0.05, 60.0  # 1/s, amplitude decay rates taken as possible


@dataclass(frozen=True)
class Ringing:
    """What the partials say. N partials."""

    numbers: NDArray[np.int64]
    hertz: Array  # (N) settled
    covariance: Array  # (N, N) of their relative errors
    amplitude: Array  # (N) at the start
    decay: Array  # (N) 1/s, of the amplitude
    noise: Array  # (N) standard deviation of the noise in a band
    misfit: Array  # (N)
    glide: float  # cents sharp at the start of the part used
    glide_sd: float
    glide_rate: float  # 1/s, at the start
    left: float  # cents of glide left at the end
    rates: Array  # (G) 1/s of the glide
    sizes: Array  # (G) relative
    law: Law
    since: float = 0.0  # s from the start of the part given to that used
    poor: float = 0.0  # share of the bands that is not explained
    lawless: float = 0.0  # 0 to 1, how far its partials keep to no law of a string
    hum: float | None = None  # dB below the note
    split: float | None = None  # cents from the first partial to a second tone beside it


def followed(
    samples: Array, rate: float, peaks: Peaks, coarse: Coarse, early: Array | None = None, since: float | None = None
) -> Ringing | None:
    """Follow the partials of a note.

    Args:
        samples: (N) of the part used.
        rate: [Hz].
        peaks: of its spectrum.
        coarse: what fundamental and inharmonicity explain them.
        early: (N) s by which phases run ahead by a glide found before.
        since: from the release to the start of the part used [s]; given, amplitudes are explained too (`resolved`).
    Returns: what they say; None where fewer than two partials stand above the noise.
    """
    numbers, start = numbered(peaks, coarse)
    if len(numbers) < 2:
        return None
    bands = prepared(samples, rate, float(start[0] / numbers[0]))
    if len(bands.times) < 2 * phases.BLOCKS:
        return None
    if early is None:
        cut = np.array([band(bands, f) for f in start])
    else:
        cut = np.array([gliding_band(bands, f, early) for f in start])
    whole, step = bands, float(bands.times[1] - bands.times[0])
    turn = np.abs(np.angle((cut[:, 1:] * cut[:, :-1].conj()).sum(axis=1))).max() / (2.0 * np.pi)
    wide = min(max(SHORTEST, bands.times[-1] / LONGEST) / (2.0 * step), STILL / turn)
    bands, cut = averaged(bands, cut, int(wide))
    noise = _rough_noise(cut)
    decay = _decays(bands.times, np.abs(cut), noise)
    rates, shares = _glide_expected(numbers, start, np.abs(cut), decay, noise)
    follows = (1.0 + coarse.inharmonicity) / (1.0 + coarse.inharmonicity * numbers.astype(float) ** 2)
    expected = LEAST_GLIDE * shares[0]
    places = early is not None and since is None
    fit, before = None, None
    for round_ in range(3 if places else 2):
        slow = noise * bands.effective
        size = expected.sum()
        tried = size * shares if round_ == 2 else expected[None]
        fits = [
            phases.explained(bands.times, cut, start, start, slow, phases.Bent(rates, follows, one, LOOSE), before)
            for one in tried
        ]
        fit = fits[int(np.argmin([one.cost for one in fits]))]
        before = fit.at
        noise = _noise(bands, cut, fit)
        expected = shares[0] * max(float(fit.glide.sum()), LEAST_GLIDE)
    assert fit is not None
    told = _told(numbers, bands, fit, rates, decay, noise)
    if told is None:
        return None
    if since is not None:
        told = _resolved(told, numbers, bands, cut, start, fit, noise, since)
    per = bands.effective / whole.effective * (bands.times[1] - bands.times[0]) / (whole.times[1] - whole.times[0])
    return replace(told, noise=told.noise * np.sqrt(per))


def ahead(ringing: Ringing, times: Array) -> Array:
    """By how much a glide lets the phases run ahead.

    Args:
        ringing: with its glide.
        times: (N) s from the start of the part used.
    Returns: (N) [s].
    """
    rates, sizes = ringing.rates, ringing.sizes
    some = np.linspace(0.0, times[-1], int(times[-1] / FINE_TIME) + 2)
    lead = (sizes / rates) @ (1.0 - np.exp(-rates[:, None] * some))
    return np.asarray(np.interp(times, some, lead))


def numbered(peaks: Peaks, coarse: Coarse) -> tuple[NDArray[np.int64], Array]:
    """Which peak is which partial, from the lowest up, the law fitted again as more are found.

    Args:
        peaks: the peaks.
        coarse: where to start.
    Returns: (N) numbers and (N) peak frequencies of the partials that carry most.
    """
    found, f0, shape = _found(peaks, coarse)
    if len(found) > FEW:  # what lies farther off is none of them
        off = {n: abs(peaks.hertz[i] - _there(f0, shape, n)) / f0 for n, i in found.items()}
        found = {n: i for n, i in found.items() if off[n] < WITHIN * (1.0 + n / LOW)}
    numbers = np.array(sorted(found), dtype=np.int64)
    if len(numbers) > MOST:
        index = np.array([found[n] for n in numbers])
        worth = numbers * peaks.amplitude[index] / peaks.floor[index]
        worth[numbers <= LOW] = np.inf  # the glide is theirs
        numbers = np.sort(numbers[np.argsort(worth)[::-1][:MOST]])
    return numbers, np.array([peaks.hertz[found[n]] for n in numbers])


def surest(peaks: Peaks, some: list[Coarse]) -> Coarse:
    """Which of some fundamentals explains the peaks best once it is numbered out and refined.

    Args:
        peaks: the peaks.
        some: fundamentals, at least one.
    Returns: the best, refined; its share that of the weight of the peaks it explains, less missing partials.
    """
    weight = weights_of(peaks)
    out = []
    for coarse in some:
        found, f0, shape = _found(peaks, coarse)
        near = {n: i for n, i in found.items() if abs(peaks.hertz[i] - _there(f0, shape, n)) < WITHIN * f0}
        if len(near) < 2:
            out.append(coarse)
            continue
        missing = 1.0 - len(near) / max(near)
        share = float(weight[list(near.values())].sum() / weight.sum()) - 0.5 * missing
        out.append(Coarse(f0, shape, share, coarse.rival) if share > coarse.share else coarse)
    return max(out, key=lambda one: one.share)


def _there(f0: float, shape: float, number: int) -> float:
    return float(f0 * stretch(np.array([number]), shape)[0])


def _found(peaks: Peaks, coarse: Coarse) -> tuple[dict[int, int], float, float]:
    """Index of the peak of every partial, and the law they keep to."""
    f0, shape = coarse.fundamental, coarse.inharmonicity
    found: dict[int, int] = {}
    if not len(peaks.hertz):
        return found, f0, shape
    for top in (4, 8, 12, 16, 24, 32, 48, 64):
        there = f0 * stretch(np.arange(1.0, top + 1.0), shape)
        far = np.abs(peaks.hertz - there[:, None])
        near = far.argmin(axis=1)
        found = {n: int(i) for n, i in enumerate(near, 1) if far[n - 1, i] < NEAR * f0}
        if len(found) < 2:
            continue
        f0, shape = _refined(found, peaks, f0, shape)
        if f0 * top > peaks.hertz[-1]:
            break
    return found, f0, shape


def _refined(found: dict[int, int], peaks: Peaks, f0: float, shape: float) -> tuple[float, float]:
    numbers = np.array(sorted(found), dtype=float)
    hertz = np.array([peaks.hertz[found[int(n)]] for n in numbers])
    amplitude = np.array([peaks.amplitude[found[int(n)]] / peaks.floor[found[int(n)]] for n in numbers])
    spread = (0.002 / numbers) ** 2 + (0.01 / amplitude / numbers) ** 2
    return rough(numbers, hertz, spread, shape)


def _rough_noise(cut: Complex) -> Array:
    """(N) variance of one part of the noise, from how the late half jumps from sample to sample."""
    late = cut[:, cut.shape[1] // 2 :]
    return np.asarray(np.maximum(np.median(np.abs(np.diff(late, 2, axis=1)) ** 2, axis=1), 1e-24))


def _noise(bands: Bands, cut: Complex, fit: phases.Phases) -> Array:
    """(N) variance of one part of the noise: what is left at right angles and changes fast."""
    across = (cut * np.exp(-1j * fit.phase)).imag
    width = max(int(STEADY / (bands.times[1] - bands.times[0])) | 1, 5)
    fast = across - phases.smoothed(across, width)
    return np.asarray(np.maximum(np.var(fast, axis=1) * width / (width - 1.0), 1e-24))


def _decays(times: Array, amplitude: Array, noise: Array) -> Array:
    """(N) 1/s, by weighted least squares on the logarithm where a band stands above its noise."""
    high = np.maximum(amplitude, 1e-12)
    weight = np.where(amplitude > LOUD * np.sqrt(noise)[:, None], high**2, 0.0)
    weight[:, :5] = high[:, :5] ** 2
    total = weight.sum(axis=1)
    middle = (weight * times).sum(axis=1) / total
    y = np.log(high)
    centre = (weight * y).sum(axis=1) / total
    since = times - middle[:, None]
    slope = (weight * since * (y - centre[:, None])).sum(axis=1) / (weight * since**2).sum(axis=1)
    return np.asarray(np.clip(-slope, SLOWEST, FASTEST))


def _glide_expected(
    numbers: NDArray[np.int64], hertz: Array, amplitude: Array, decay: Array, noise: Array
) -> tuple[Array, Array]:
    """(N) 1/s at which the parts of a glide fall, twice the partials' own; (K, N) their shares for places of a pickup.

    A pickup hears velocity, and so n a_n sin(n pi x): squared and without the sine it is the partial's share of the
    mean square slope, which the tension follows. Where the pickup stands is not known: several places are tried.
    """
    start = amplitude[:, :3].mean(axis=1)
    sure = start > SURE * np.sqrt(noise)
    if sure.any():
        decay = np.where(sure, decay, np.interp(hertz, hertz[sure], decay[sure]))
    power = np.log(start)
    even = np.convolve(np.pad(power, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
    shares = [np.exp(2.0 * even)]
    for place in PLACES:
        seen = np.maximum(np.sin(np.pi * place * numbers) ** 2, NODE)
        shares.append(start**2 / seen)
    return 2.0 * decay, np.array([share / share.sum() for share in shares])


def _resolved(
    told: Ringing, numbers: NDArray[np.int64], bands: Bands, cut: Complex, start: Array, fit: phases.Phases,
    noise: Array, since: float,
) -> Ringing:  # fmt: skip
    """What amplitudes and phases say together, starting from what the phases said."""
    kept = np.isin(numbers, told.numbers)
    size = float(fit.glide.sum())
    got = resolved(
        bands.times, cut[kept], told.numbers.astype(float), start[kept], fit.hertz[kept], fit.phase[kept],
        (noise * bands.effective)[kept], told.law.inharmonicity, size, since,
    )  # fmt: skip
    law = _at_end(told)
    if got is None:
        return replace(told, law=law, poor=1.0)
    trust = rising(-np.log(max(got.poor, 1e-9) / POOR) / np.log(DOUBTED))
    law = between([got.law, law], np.array([trust, 1.0 - trust]))
    split = None if got.split is None else CENTS_PER_LOG * got.split
    if trust < 0.5:  # that two tones beat is told all the same
        return replace(told, law=law, poor=got.poor, split=split)
    return replace(
        told, hertz=got.hertz, covariance=got.covariance, decay=got.decay,
        noise=np.sqrt(got.noise / bands.effective), glide=CENTS_PER_LOG * got.glide,
        glide_sd=CENTS_PER_LOG * got.glide_sd, glide_rate=got.glide_rate, left=CENTS_PER_LOG * got.left, law=law,
        poor=got.poor, split=split,
    )  # fmt: skip


def _at_end(told: Ringing) -> Law:
    """The law as the phases alone tell it. Amplitudes that are not explained do not say how fast the partials fall, nor
    so how fast the glide does: half of what would be left of it at the end is taken off, and the other half counts to
    the uncertainty, so that both a glide that is over and one that goes on as told lie inside.
    """
    law, left = told.law, 0.5 * told.left / CENTS_PER_LOG
    return replace(
        law,
        first=law.first * float(np.exp(left)),
        first_sd=float(np.hypot(UNSURE * law.first_sd, left)),
        fundamental=law.fundamental * float(np.exp(left)),
        fundamental_sd=float(np.hypot(UNSURE * law.fundamental_sd, left)),
    )


def _told(
    numbers: NDArray[np.int64], bands: Bands, fit: phases.Phases, rates: Array, decay: Array, noise: Array
) -> Ringing | None:
    """What the fit says, partials left out whose phase was lost; None where fewer than two are left."""
    count, kept = len(numbers), np.flatnonzero((fit.held > HELD) & (fit.hertz > 0.0))
    if len(kept) < 2:
        return None
    scale = np.concatenate([fit.hertz, np.ones(len(rates))])
    relative = fit.covariance / np.outer(scale, scale)
    at_start, at_end = np.exp(-rates * bands.times[0]), np.exp(-rates * bands.times[-1])
    glide, left = float(fit.glide @ at_start), float(fit.glide @ at_end)
    untold = UNTOLD + UNSEEN * min(abs(left / glide), 1.0) ** 2 if glide else 0.0
    covariance = relative[np.ix_(kept, kept)] + (untold * left) ** 2
    law = fitted(numbers[kept].astype(float), fit.hertz[kept], covariance)
    sd = float(np.sqrt(max(at_start @ relative[count:, count:] @ at_start, 0.0)))
    slope = float(fit.glide @ (rates * at_start))
    return Ringing(
        numbers[kept], fit.hertz[kept], covariance, fit.amplitude[kept, 0], decay[kept], np.sqrt(noise[kept]),
        fit.misfit[kept] * bands.effective, CENTS_PER_LOG * glide, CENTS_PER_LOG * sd,
        slope / glide if glide > 0.0 < slope else float(rates[0]), CENTS_PER_LOG * left, rates, fit.glide, law,
    )  # fmt: skip
