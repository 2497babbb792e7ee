"""What spoils the sound of a note on its way to a listener: one function each, samples in and out, to be combined.

A level "below the sound" compares root mean squares over all samples given. Sizes of what is added are common practice,
no source, where none is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import gcd, pi

import numpy as np

from setwright.errors import InputError
from setwright.practice.sound import (
    CENT,
    Array,
    Pluck,
    at_level,
    glide_of,
    partials_of,
    render,
)

TELEPHONE_RATE = 8000.0  # Hz
TELEPHONE_BAND = (300.0, 3400.0)  # Hz
MU = 255.0
HUM = (1.0, 0.5, 0.6, 0.25, 0.3, 0.1, 0.15)  # of mains and its multiples


def rms(samples: Array) -> float:
    """Root mean square.

    Args:
        samples: (N,) [1]

    Returns:
        [1]
    """
    return float(np.sqrt(np.mean(np.square(samples)))) if samples.size else 0.0


def below(samples: Array, added: Array, decibels: float) -> Array:
    """Samples with something added whose root mean square lies so far below theirs.

    Args:
        samples: (N,) [1]
        added: (N,) [1] of any level, not silent
        decibels: [dB] below the samples

    Returns:
        (N,) [1]

    Raises:
        InputError: what is added is silent.
    """
    if not rms(added) > 0.0:
        raise InputError("what is to be added is silent, so it has no level; give it some sound.")
    louder: Array = samples + added * (rms(samples) / rms(added) * 10.0 ** (-decibels / 20.0))
    return louder


def second_polarisation(samples: Array, pluck: Pluck, cents: float, share: float, loss: float) -> Array:
    """A note with the string's other direction of swing: the same partials a little off, with their own decay.

    Args:
        samples: (N,) [1] of the note
        pluck: the note
        cents: [cents] the other direction is sharper by
        share: [1] its height over the note's
        loss: [1/s] its `Pluck.loss`

    Returns:
        (N,) [1]
    """
    other = replace(pluck, fundamental=pluck.fundamental * float(np.exp(CENT * cents)), loss=loss)
    return samples + share * at_level(render(partials_of(other), glide_of(pluck), pluck), pluck.level)


def pulled(samples: Array, pluck: Pluck, cents: float, share: float, place: float) -> Array:
    """A note split by a pickup's magnet near the string: it slackens one direction of swing, so that one goes flat.

    A point of negative stiffness -k takes k sin^2(n pi x) from a mode's stiffness, first order: partial n goes flat by
    a ratio that goes as sin^2(n pi x) / n^2.

    Args:
        samples: (N,) [1] of the note
        pluck: the note
        cents: [cents] the first partial of the pulled direction is flat by
        share: [1] its height over the note's
        place: [of the length from the bridge] of the magnet

    Returns:
        (N,) [1]
    """
    whole = partials_of(pluck)
    n = np.arange(1.0, len(whole.hertz) + 1.0)
    flat = cents * np.square(np.sin(n * pi * place) / (n * np.sin(pi * place)))
    flatter = replace(whole, hertz=whole.hertz * np.exp(-CENT * flat))
    return samples + share * at_level(render(flatter, glide_of(pluck), pluck), pluck.level)


def weak_fundamental(pluck: Pluck, decibels: float) -> Pluck:
    """The note heard by two pickups against each other, so that little of the first partial is left.

    Args:
        pluck: the note, one pickup
        decibels: [dB] the first partial is weakened by

    Returns:
        Pluck with a second pickup at 0.22 of the length.
    """
    place, gain = pluck.pickups[0]
    against = (10.0 ** (-decibels / 20.0) - 1.0) * gain * np.sin(pi * place) / np.sin(pi * 0.22)
    return replace(pluck, pickups=((place, gain), (0.22, float(against))))


def hum(samples: Array, rate: float, decibels: float, mains: float = 50.0, seed: int = 0) -> Array:
    """Samples with the hum of the mains and its multiples.

    Args:
        samples: (N,) [1]
        rate: [Hz]
        decibels: [dB] below the sound
        mains: [Hz]
        seed: [1] of the phases

    Returns:
        (N,) [1]
    """
    rng = np.random.default_rng(seed)
    turn = 2.0 * pi * mains * np.arange(len(samples)) / rate
    tone = sum(h * np.sin(k * turn + rng.uniform(0.0, 2.0 * pi)) for k, h in enumerate(HUM, 1))
    return below(samples, np.asarray(tone), decibels)


def noisy(samples: Array, decibels: float, seed: int = 0, pink: bool = False) -> Array:
    """Samples with noise.

    Args:
        samples: (N,) [1]
        decibels: [dB] below the sound
        seed: [1]
        pink: whether its power falls as 1/f instead of being the same everywhere

    Returns:
        (N,) [1]
    """
    noise = np.random.default_rng(seed).standard_normal(len(samples))
    if pink:
        spectrum = np.fft.rfft(noise)
        spectrum[0] = 0.0
        spectrum[1:] /= np.sqrt(np.arange(1.0, len(spectrum)))
        noise = np.fft.irfft(spectrum, len(samples))
    return below(samples, noise, decibels)


def clipped(samples: Array, limit: float, soft: bool = False) -> Array:
    """Samples driven into a limit.

    Args:
        samples: (N,) [1]
        limit: [1] greatest value let through
        soft: whether they bend towards it, as limit tanh(x / limit), instead of being cut off

    Returns:
        (N,) [1]
    """
    return limit * np.tanh(samples / limit) if soft else np.clip(samples, -limit, limit)


def bent(samples: Array, share: float) -> Array:
    """Samples of a pickup whose field is stronger near it: x + share x^2 / peak, made at twice the rate.

    Args:
        samples: (N,) [1]
        share: [1] of the bent part at the peak

    Returns:
        (N,) [1]; the square's multiples above half the rate are left out.
    """
    peak = float(np.abs(samples).max(initial=0.0))
    if peak == 0.0:
        return samples
    fine = np.fft.irfft(np.fft.rfft(samples), 2 * len(samples)) * 2.0
    half = np.fft.rfft(np.square(fine))[: len(samples) // 2 + 1] / 2.0
    return samples + share / peak * np.fft.irfft(half, len(samples))


def sympathetic(samples: Array, rate: float, neighbours: Sequence[Pluck], decibels: float) -> Array:
    """Samples with other strings that answer: each partial of theirs is a resonator driven by the sound.

    Args:
        samples: (N,) [1]
        rate: [Hz]
        neighbours: the other strings; their first twelve partials answer
        decibels: [dB] below the sound

    Returns:
        (N,) [1]
    """
    times = np.arange(len(samples)) / rate
    answer = np.zeros(len(samples))
    for pluck in neighbours:
        some = partials_of(pluck)
        for hertz, decay in zip(some.hertz[:12], some.decay[:12], strict=True):
            answer += np.exp(-times / decay) * np.sin(2.0 * pi * hertz * times)
    size = 2 * len(samples)
    rung = np.fft.irfft(np.fft.rfft(samples, size) * np.fft.rfft(answer, size), size)[: len(samples)]
    return below(samples, rung, decibels)


def buzz(samples: Array, rate: float, hertz: float, decibels: float, seed: int = 0, until: float = 0.4) -> Array:
    """Samples with the string hitting a fret: a short burst in every period while the sound is loud.

    Args:
        samples: (N,) [1]
        rate: [Hz]
        hertz: [Hz] of the note
        decibels: [dB] the loudest burst's peak lies below the sound's peak
        seed: [1]
        until: [of the peak] loudness of a period below which nothing is hit

    Returns:
        (N,) [1]
    """
    rng = np.random.default_rng(seed)
    period = rate / hertz
    peak = float(np.abs(samples).max(initial=0.0))
    length = max(4, int(0.001 * rate))
    fall = np.exp(-np.arange(length) / (0.2 * length))
    bursts = np.zeros(len(samples))
    for k in range(int(len(samples) / period)):
        here = int(k * period)
        over = float(np.abs(samples[here : here + int(period) + 1]).max()) / peak - until if peak else 0.0
        if over > 0.0:
            some = min(length, len(samples) - here)
            bursts[here : here + some] += (over * rng.standard_normal(length) * fall)[:some]
    return samples + at_level(bursts, 20.0 * float(np.log10(peak)) - decibels) if bursts.any() else samples


def damped(samples: Array, rate: float, at: float, over: float = 0.015) -> Array:
    """Samples of a note a hand stops.

    Args:
        samples: (N,) [1]
        rate: [Hz]
        at: [s] when the hand comes
        over: [s] in which it falls to 1/e from then

    Returns:
        (N,) [1]
    """
    late = np.maximum(np.arange(len(samples)) / rate - at, 0.0)
    return samples * np.exp(-late / over)


def offset(samples: Array, shift: float) -> Array:
    """Samples with a constant added.

    Args:
        samples: (N,) [1]
        shift: [1]

    Returns:
        (N,) [1]
    """
    return samples + shift


def stereo(samples: Array, left: float, right: float) -> Array:
    """Two channels of the same sound.

    Args:
        samples: (N,) [1]
        left: [1] gain
        right: [1] gain

    Returns:
        (N, 2) [1]
    """
    return np.stack([left * samples, right * samples], axis=1)


def quantised(samples: Array, bits: int) -> Array:
    """Samples as a converter writes them down, rounded and held within full scale.

    Args:
        samples: (...) [1] of full scale
        bits: [1] of a sample

    Returns:
        (...) [1]
    """
    steps = 2.0 ** (bits - 1)
    rounded: Array = np.clip(np.rint(samples * steps), -steps, steps - 1.0) / steps
    return rounded


def telephone(samples: Array, rate: float) -> tuple[Array, float]:
    """Samples as a telephone carries them: 300 to 3400 Hz, 8000 a second, eight bits on a logarithmic scale.

    The scale is sgn(x) ln(1 + 255 |x|) / ln 256, of which ITU-T G.711 is the piecewise form (from memory).

    Args:
        samples: (N,) [1] of full scale
        rate: [Hz], a whole number, 8000 or more

    Returns:
        (M,) [1] and their rate [Hz].

    Raises:
        InputError: the rate cannot be used.
    """
    if rate < TELEPHONE_RATE or rate != int(rate):
        raise InputError(f"a rate of {rate:g} Hz cannot go over a telephone; allowed are whole numbers from 8000 Hz.")
    finest = int(TELEPHONE_RATE)
    some = finest // gcd(int(rate), finest)  # samples in which both rates meet
    silent = len(samples) + int(rate)  # so that the end does not come round to the beginning
    whole = -(-int(silent * TELEPHONE_RATE / rate) // some) * some
    count = whole * int(rate) // finest
    spectrum = np.fft.rfft(samples, count)
    hertz = np.fft.rfftfreq(count, 1.0 / rate)
    spectrum[(hertz < TELEPHONE_BAND[0]) | (hertz > TELEPHONE_BAND[1])] = 0.0
    few = np.fft.irfft(spectrum[: whole // 2 + 1], whole) * (whole / count)
    few = few[: round(len(samples) * TELEPHONE_RATE / rate)]
    packed = np.sign(few) * np.log1p(MU * np.minimum(np.abs(few), 1.0)) / np.log1p(MU)
    packed = np.rint(packed * 127.0) / 127.0
    return np.sign(packed) * np.expm1(np.abs(packed) * np.log1p(MU)) / MU, TELEPHONE_RATE
