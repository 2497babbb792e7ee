"""The sound of a practice instrument: a plucked stiff string as a magnetic pickup hears it, with the truth beside it.

The string is a sum of partials f_n = n f0 sqrt(1 + B n^2) (Fletcher, J. Acoust. Soc. Am. 36, 203, 1964), released at
rest from a triangle, each dying away by itself. Tension rises with the mean square of the slope, so pitch starts sharp
and comes down with the partials' own decays (Kirchhoff 1876, Carrier, Q. Appl. Math. 3, 157, 1945; Legge and Fletcher,
J. Acoust. Soc. Am. 76, 5, 1984). Times run from the release of the string.
"""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setwright.errors import InputError
from setwright.frozen import frozen

Array = NDArray[np.float64]

CENT = log(2.0) / 1200.0
HIGHEST = 0.45  # of the rate; partials above are left out, so that none folds back
QUIET = 16.0  # decay times after which a partial is left out: e^-16 = -139 dB
MODES = 240  # partials that share in the tension
BLOCK = 1024
LIMITS = {
    "fundamental": (10.0, 6000.0, "Hz"),
    "inharmonicity": (0.0, 0.05, "1"),
    "place": (0.01, 0.99, "of the length"),
    "width": (0.0, 0.2, "of the length"),
    "glide": (0.0, 100.0, "cents"),
    "own_rise": (0.0, 0.5, "1"),
    "loss": (0.01, 1000.0, "1/s"),
    "loss_square": (0.0, 1e-3, "s"),
    "level": (-120.0, 20.0, "dB of full scale"),
    "attack": (0.0, 200.0, "dB below the peak"),
    "rate": (8000.0, 400000.0, "Hz"),
    "seconds": (0.01, 120.0, "s"),
}


@frozen
class Slide:
    """A peg turned while the string sounds: pitch moves evenly in cents from one moment to another."""

    cents: float  # cents, how far up
    start: float  # s
    end: float  # s

    def __post_init__(self) -> None:
        """Refuse a slide that does not last.

        Raises:
            InputError: naming both times.
        """
        if not self.start < self.end:
            raise InputError(f"a slide from {self.start:g} s to {self.end:g} s does not last; end it later.")


@frozen
class Pluck:
    """One note of one string, and how it is picked up.

    A partial dies away as e^(-t / t_n), 1/t_n = loss + loss_square f_n^2: air and ends, and what is lost inside the
    wire (Bensa, Bilbao, Kronland-Martinet and Smith, J. Acoust. Soc. Am. 114, 1095, 2003). Pickups hear the string's
    velocity where they stand; those of a pair are added with their gains. A mode is raised by the mean rise of tension;
    its own part of it swings with it and raises it by up to half as much again: 0.5 of `own_rise` for a string that
    swings in a plane (3 A^2 / 8 against A^2 / 4 of Duffing's equation), 0 for one that goes round in a circle.
    """

    fundamental: float  # Hz, f0 after the glide
    inharmonicity: float = 1e-4  # 1, B
    place: float = 0.17  # of the length from the bridge, where it is plucked
    pickups: tuple[tuple[float, float], ...] = ((0.09, 1.0),)  # (of the length from the bridge, gain)
    width: float = 0.004  # of the length, of what plucks it
    glide: float = 0.0  # cents the first partial is sharp at the release
    own_rise: float = 0.0  # 1, how much more a mode's own part raises itself than the others
    loss: float = 0.5  # 1/s
    loss_square: float = 2e-7  # s
    level: float = -6.0  # dB of full scale, peak of the string's sound
    attack: float = 200.0  # dB below the peak, burst of noise of the release; 200 is none
    rate: float = 48000.0  # Hz
    seconds: float = 3.0  # s
    slide: Slide | None = None

    def __post_init__(self) -> None:
        """Refuse values outside LIMITS.

        Raises:
            InputError: naming the value and what is allowed.
        """
        for name, (low, high, unit) in LIMITS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise InputError(f"{name} of a pluck is {value:g} {unit}; allowed is {low:g} to {high:g} {unit}.")
        if not self.pickups or not all(0.0 < place < 1.0 for place, _ in self.pickups):
            raise InputError("pickups of a pluck need at least one place, each between 0 and 1 of the length.")
        if first_of(self) > HIGHEST * self.rate:
            raise InputError(
                f"a first partial of {first_of(self):g} Hz does not fit a rate of {self.rate:g} Hz; raise the rate."
            )


@frozen
class Partials:
    """What a note is made of: sum of height e^(-t / decay) sin(2 pi hertz lead(t) + phase).

    lead(t) = t + follow (G(t) + own decay / 2 (1 - e^(-2 t / decay))), G the integral of the glide all partials share.
    """

    hertz: Array  # Hz, (P,) after the glide
    height: Array  # 1, (P,) at the release
    phase: Array  # rad, (P,)
    decay: Array  # s, (P,)
    follow: Array  # 1, (P,) share of the glide it takes
    own: Array  # 1, (P,) at the release, what its own part of the tension raises it by besides


@frozen
class Glide:
    """How much sharper than at the end the string is: ratio - 1 = sum of size e^(-2 t / decay)."""

    size: Array  # 1, (M,)
    decay: Array  # s, (M,) of the amplitude

    def at(self, times: ArrayLike) -> Array:
        """Glide left.

        Args:
            times: (...) [s] from the release

        Returns:
            (...) [cents]
        """
        t = np.asarray(times, dtype=np.float64)[..., None]
        cents: Array = np.log1p((self.size * np.exp(-2.0 * t / self.decay)).sum(axis=-1)) / CENT
        return cents


@frozen
class Truth:
    """What a listener should report."""

    first_partial: float  # Hz, after the glide
    fundamental: float  # Hz, f0 of f_n = n f0 sqrt(1 + B n^2), after the glide
    inharmonicity: float  # 1, B
    glide: Glide
    decay: float  # s, of the first partial's amplitude
    split: float | None = None  # cents from the first partial to a second tone beside it, None: no second tone
    released: float = 0.0  # s in the recording, when the string was let go

    def glide_at(self, times: ArrayLike) -> Array:
        """Glide of the first partial that is left.

        Args:
            times: (...) [s] from the release

        Returns:
            (...) [cents]
        """
        return self.glide.at(times)

    def first_partial_at(self, times: ArrayLike) -> Array:
        """First partial at some times.

        Args:
            times: (...) [s] from the release

        Returns:
            (...) [Hz]
        """
        return self.first_partial * np.exp(CENT * self.glide_at(times))

    @property
    def glide_time(self) -> float | None:
        """Time after which 1/e of the glide is left [s]; None without a glide."""
        start = float(self.glide_at(0.0))
        if start <= 0.0:
            return None
        low, high = 0.0, float(self.glide.decay.max())
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if float(self.glide_at(middle)) > start / np.e else (low, middle)
        return high


def first_of(pluck: Pluck) -> float:
    """First partial after the glide, f0 sqrt(1 + B) [Hz].

    Args:
        pluck: the note

    Returns:
        [Hz]
    """
    return float(pluck.fundamental * np.sqrt(1.0 + pluck.inharmonicity))


def hertz_of(pluck: Pluck, numbers: ArrayLike) -> Array:
    """Partials of a stiff string with hinged ends, n f0 sqrt(1 + B n^2); Fletcher (1964).

    Args:
        pluck: the note
        numbers: (...) [1] n

    Returns:
        (...) [Hz] after the glide
    """
    n = np.asarray(numbers, dtype=np.float64)
    hertz: Array = n * pluck.fundamental * np.sqrt(1.0 + pluck.inharmonicity * n * n)
    return hertz


def decay_of(pluck: Pluck, hertz: ArrayLike) -> Array:
    """Time in which a partial falls to 1/e, 1 / (loss + loss_square f^2).

    Args:
        pluck: the note
        hertz: (...) [Hz]

    Returns:
        (...) [s]
    """
    decay: Array = 1.0 / (pluck.loss + pluck.loss_square * np.square(np.asarray(hertz, dtype=np.float64)))
    return decay


def shape_of(pluck: Pluck, numbers: Array) -> Array:
    """Heights a_n of the string's modes at the release: a triangle with a rounded corner.

    sin(n pi p) / n^2 (Fletcher and Rossing, Physics of Musical Instruments, 2nd ed., section 2.7), times
    exp(-(n pi width)^2 / 2) for a plucking thing whose push is spread as a bell over `width`.

    Args:
        pluck: the note
        numbers: (P,) [1] n

    Returns:
        (P,) [1]
    """
    bell = np.exp(-0.5 * np.square(np.pi * numbers * pluck.width))
    shape: Array = np.sin(np.pi * numbers * pluck.place) / np.square(numbers) * bell
    return shape


def ear_of(pluck: Pluck, numbers: Array) -> Array:
    """How much of a mode's velocity the pickups take up: sum of gain sin(n pi x).

    Args:
        pluck: the note
        numbers: (P,) [1] n

    Returns:
        (P,) [1]
    """
    ear = np.zeros(len(numbers))
    for place, gain in pluck.pickups:
        ear += gain * np.sin(np.pi * numbers * place)
    return ear


def glide_of(pluck: Pluck) -> Glide:
    """The glide all partials share, as the tension makes it: each gives (n a_n)^2 and takes it away with its own decay.

    Args:
        pluck: the note

    Returns:
        the glide; with what the first partial does to itself, its sum at the release is `pluck.glide`.
    """
    n = np.arange(1.0, MODES + 1.0)
    weight = np.square(n * shape_of(pluck, n))
    whole = weight.sum() + pluck.own_rise * weight[0]
    return Glide(np.expm1(CENT * pluck.glide) * weight / whole, decay_of(pluck, hertz_of(pluck, n)))


def _first_glide(pluck: Pluck) -> Glide:
    """The glide of the first partial: the shared one, and what it does to itself."""
    shared = glide_of(pluck)
    more = np.ones(MODES)
    more[0] += pluck.own_rise
    return replace(shared, size=shared.size * more)


def partials_of(pluck: Pluck) -> Partials:
    """The partials of a note as the pickup hears them, before it is brought to its level.

    Velocity of a mode released at rest is a_n omega_n sin(omega_n t). More tension raises a stiff partial less: with
    f_n^2 = n^2 f0^2 (1 + 2 eps + B n^2) it takes (1 + B) / (1 + B n^2) of the first one's glide.

    Args:
        pluck: the note

    Returns:
        Partials below `HIGHEST` of the rate.
    """
    n = np.arange(1.0, 1.0 + np.ceil(HIGHEST * pluck.rate / pluck.fundamental))
    hertz = hertz_of(pluck, n)
    n = n[hertz * np.exp(CENT * pluck.glide) < HIGHEST * pluck.rate] if len(n) > 1 else n
    hertz = hertz_of(pluck, n)
    own = np.zeros(len(n))
    own[:MODES] = pluck.own_rise * glide_of(pluck).size[: len(n)]
    return Partials(
        hertz=hertz,
        height=hertz * shape_of(pluck, n) * ear_of(pluck, n),
        phase=np.zeros(len(n)),
        decay=decay_of(pluck, hertz),
        follow=(1.0 + pluck.inharmonicity) / (1.0 + pluck.inharmonicity * n * n),
        own=own,
    )


def truth(pluck: Pluck) -> Truth:
    """What a listener should report of a note.

    Args:
        pluck: the note

    Returns:
        Truth, without a second tone.
    """
    first = first_of(pluck)
    return Truth(
        first_partial=first,
        fundamental=pluck.fundamental,
        inharmonicity=pluck.inharmonicity,
        glide=_first_glide(pluck),
        decay=float(decay_of(pluck, first)),
    )


def fading(count: int, per_sample: Array, weight: Array) -> Array:
    """Sum of weight e^(-per_sample k) for k = 0 .. count - 1, as one matrix product.

    Args:
        count: [1] how many samples
        per_sample: (M,) [1] loss from sample to sample
        weight: (M,) [any]

    Returns:
        (count,) [as weight]
    """
    coarse = np.exp(-np.outer(BLOCK * np.arange(-(-count // BLOCK)), per_sample)) * weight
    fine = np.exp(-np.outer(per_sample, np.arange(BLOCK)))
    total: Array = (coarse @ fine).ravel()[:count]
    return total


def _lead(pluck: Pluck, glide: Glide, count: int) -> Array:
    """Integral of (pitch ratio - 1) from the release [s]; exact for a glide, a fine sum where a peg is turned."""
    size = 0.5 * glide.size * glide.decay
    gained: Array = size.sum() - fading(count, 2.0 / (glide.decay * pluck.rate), size)
    if pluck.slide is None:
        return gained
    turned = pluck.slide.cents * np.interp(np.arange(count) / pluck.rate, [pluck.slide.start, pluck.slide.end], [0, 1])
    eps = fading(count, 2.0 / (glide.decay * pluck.rate), glide.size)
    ratio = np.exp(CENT * turned) * (1.0 + eps) - 1.0
    steps = np.concatenate(([0.0], np.cumsum(0.5 * (ratio[1:] + ratio[:-1]))))
    return steps / pluck.rate


def render(partials: Partials, glide: Glide, pluck: Pluck) -> Array:
    """Samples of partials that share one glide, not brought to any level.

    Args:
        partials: what to play
        glide: of the string
        pluck: gives rate, length and slide

    Returns:
        (N,) [1]
    """
    count = round(pluck.rate * pluck.seconds)
    lead = _lead(pluck, glide, count) if pluck.glide > 0.0 or pluck.slide else None
    times = np.arange(count) / pluck.rate
    out = np.zeros(count)
    loudest = np.abs(partials.height).max(initial=0.0)
    for hertz, height, phase, decay, follow, own in zip(*vars(partials).values(), strict=True):
        above = QUIET + log(max(abs(height) / loudest, 1e-300)) if loudest else 0.0
        last = min(count, int(above * decay * pluck.rate))
        if last <= 0:
            continue
        turn = times[:last] * (2.0 * np.pi * hertz)
        if lead is not None:
            turn += lead[:last] * (2.0 * np.pi * hertz * follow)
        if own > 0.0:  # where a peg is turned too, the product of the two is left out
            size = np.pi * hertz * follow * own * decay
            turn += size - fading(last, np.array([2.0 / (decay * pluck.rate)]), np.array([size]))
        turn += phase
        np.sin(turn, out=turn)
        turn *= fading(last, np.array([1.0 / (decay * pluck.rate)]), np.array([height]))
        out[:last] += turn
    return out


def at_level(samples: Array, level: float) -> Array:
    """Samples brought to a peak.

    Args:
        samples: (N,) [1]
        level: [dB of full scale] of the greatest sample

    Returns:
        (N,) [1] of full scale
    """
    peak = float(np.abs(samples).max(initial=0.0))
    return samples * (10.0 ** (level / 20.0) / peak) if peak > 0.0 else samples


def play(pluck: Pluck, seed: int = 0) -> Array:
    """Samples of a note, from its release on.

    Args:
        pluck: the note
        seed: [1] of the noise of the release

    Returns:
        (N,) [1] of full scale, mono
    """
    return with_attack(at_level(render(partials_of(pluck), glide_of(pluck), pluck), pluck.level), pluck, seed)


def with_attack(samples: Array, pluck: Pluck, seed: int) -> Array:
    """Samples with the noise of pick or finger in their first milliseconds.

    Args:
        samples: (N,) [1] of full scale
        pluck: gives level, attack and rate
        seed: [1] of the noise

    Returns:
        (N,) [1] of full scale
    """
    if pluck.attack >= LIMITS["attack"][1]:
        return samples
    noise = np.random.default_rng(seed).standard_normal(len(samples))
    noise *= np.exp(-np.arange(len(samples)) / (0.003 * pluck.rate))
    return samples + at_level(noise, pluck.level - pluck.attack)


def harmonic(pluck: Pluck, number: int) -> Pluck:
    """The note of the same string touched at 1/number of its length: only every number-th partial sounds.

    Args:
        pluck: the open string
        number: [1] 2 for the harmonic over fret 12

    Returns:
        Pluck whose first partial is the partial `number` of the string.
    """
    folded = tuple((_inside(number * place), gain) for place, gain in pluck.pickups)
    return replace(
        pluck,
        fundamental=number * pluck.fundamental,
        inharmonicity=number * number * pluck.inharmonicity,
        place=_inside(number * pluck.place),
        pickups=folded,
    )


def _inside(place: float) -> float:
    """A place on one loop of the touched string, not quite at its ends."""
    return min(max(place % 1.0, 0.02), 0.98)
