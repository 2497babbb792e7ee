"""The generated note against general tools: scipy's quadrature and Hilbert transform, and the closed forms it cites."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.signal import hilbert

from setwright.errors import InputError
from setwright.physics import strings
from setwright.practice.sound import (
    HIGHEST,
    Partials,
    Pluck,
    Slide,
    at_level,
    ear_of,
    glide_of,
    harmonic,
    partials_of,
    play,
    render,
    shape_of,
    truth,
)

LOW_E = Pluck(82.41, inharmonicity=2e-4, glide=12.0, seconds=2.0)


def cents(ratio):
    return 1200.0 * np.log2(ratio)


def alone(pluck, number):
    """Samples of one partial of a note."""
    return render(
        Partials(*(value[[number - 1]] for value in vars(partials_of(pluck)).values())), glide_of(pluck), pluck
    )


def between(samples, start, end, rate=48000.0):
    """Mean frequency of a single tone over whole turns between two times, and those times, by its rising zeros."""
    rising = np.flatnonzero((samples[:-1] < 0.0) & (samples[1:] >= 0.0))
    times = (rising + samples[rising] / (samples[rising] - samples[rising + 1])) / rate
    times = times[(times >= start) & (times <= end)]
    return (len(times) - 1) / (times[-1] - times[0]), np.linspace(times[0], times[-1], 501)


def test_partials_are_those_of_the_physics():
    """f_n / f_1 of a string given by its tension, length and stiffness, by the project's other model of it."""
    bending = 1e-2
    tension, mass, length = 80.0, 6.8e-3, 0.648
    first = float(strings.partial(1.0, tension, length, mass, 1e8, bending))
    b = float(strings.inharmonicity(tension, length, bending))
    pluck = Pluck(first / np.sqrt(1.0 + b), inharmonicity=b)
    n = np.arange(1.0, 41.0)
    got = partials_of(pluck).hertz[:40]
    assert got == pytest.approx(strings.partial(n, tension, length, mass, 1e8, bending), rel=1e-9)


def test_a_steady_note_peaks_where_its_partials_are():
    """Zero-padded spectrum of an undamped note: each of the first ten peaks within 0.02 Hz of n f0 sqrt(1 + B n^2)."""
    pluck = Pluck(110.0, inharmonicity=3e-4, loss=0.01, loss_square=0.0, seconds=4.0, place=0.137)
    samples = play(pluck)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 1 << 22))
    step = 48000.0 / (1 << 22)
    for n in range(1, 11):
        want = n * 110.0 * np.sqrt(1.0 + 3e-4 * n * n)
        low = int((want - 20.0) / step)
        peak = (low + np.argmax(spectrum[low : low + int(40.0 / step)])) * step
        assert peak == pytest.approx(want, abs=0.02)


@pytest.mark.parametrize("number", [1, 2, 7])
def test_pitch_over_time_is_the_stated_glide(number):
    """Frequency of a partial alone, read from its zeros over a twentieth of a second, against the stated glide."""
    samples = alone(LOW_E, number)
    follow = (1.0 + 2e-4) / (1.0 + 2e-4 * number * number)
    want = number * 82.41 * np.sqrt(1.0 + 2e-4 * number**2)
    for at in (0.02, 0.1, 0.4, 1.0):
        got, times = between(samples, at - 0.02, at + 0.03)
        eps = np.expm1(truth(LOW_E).glide_at(times) * np.log(2.0) / 1200.0).mean()
        assert cents(got / want) == pytest.approx(cents(1.0 + follow * eps), abs=1e-3)


@pytest.mark.parametrize("number", [1, 3])
def test_a_mode_raises_itself_more(number):
    """With all of `own_rise`, partial n starts sharper by eps (1 + w_n / 2), w_n its share of the slope's square."""
    pluck = replace(LOW_E, own_rise=0.5, inharmonicity=0.0)
    n = np.arange(1.0, 241.0)
    share = np.square(n * shape_of(pluck, n)) / np.square(n * shape_of(pluck, n)).sum()
    eps = (2.0 ** (12.0 / 1200.0) - 1.0) / (1.0 + 0.5 * share[0])
    decay = 1.0 / (0.5 + 2e-7 * np.square(n * 82.41))
    got, times = between(alone(pluck, number), 0.0, 0.06)
    falling = share * np.exp(-2.0 * times[:, None] / decay)
    want = eps * (falling.sum(axis=1) + 0.5 * falling[:, number - 1]).mean()
    assert cents(got / (number * 82.41)) == pytest.approx(cents(1.0 + want), abs=2e-3)
    assert truth(pluck).glide_at(0.0) == pytest.approx(12.0, rel=1e-9)
    if number == 1:
        assert truth(pluck).glide_at(times).mean() == pytest.approx(cents(1.0 + want), abs=2e-3)


def test_phase_is_the_integral_of_the_pitch():
    """scipy's quadrature of the true first partial gives the phase of the last zero crossing of the samples."""
    pluck = replace(LOW_E, seconds=0.7)
    samples = alone(pluck, 1)
    last = np.flatnonzero((samples[:-1] < 0.0) & (samples[1:] >= 0.0))[-1]
    part = samples[last] / (samples[last] - samples[last + 1])
    turns, _ = quad(lambda t: float(truth(pluck).first_partial_at(t)), 0.0, (last + part) / 48000.0, epsabs=1e-11)
    assert turns == pytest.approx(round(turns), abs=1e-5)
    assert round(turns) > 50


def test_glide_is_the_falling_mean_square_slope():
    """Mean over the string of the slope squared, from the shape itself on a grid, falls like the glide."""
    t = np.array([0.0, 0.2, 0.7, 2.0])
    n = np.arange(1.0, 200.0)
    x = (np.arange(4096) + 0.5) / 4096
    f = n * 82.41 * np.sqrt(1.0 + 2e-4 * n * n)
    slopes = []
    for at in t:
        heights = shape_of(LOW_E, n) * np.exp(-at * (0.5 + 2e-7 * f * f))
        slopes.append(np.square((heights * n * np.pi) @ np.cos(np.pi * np.outer(n, x))).mean())
    got = np.expm1(truth(LOW_E).glide_at(t) * np.log(2.0) / 1200.0)
    assert got / got[0] == pytest.approx(np.array(slopes) / slopes[0], rel=1e-3)
    assert truth(LOW_E).glide_at(0.0) == pytest.approx(12.0, rel=1e-9)


def test_glide_time():
    told = truth(LOW_E)
    assert told.glide_at(told.glide_time) == pytest.approx(12.0 / np.e, rel=1e-6)
    assert truth(replace(LOW_E, glide=0.0)).glide_time is None


def test_a_partial_dies_away_by_its_own_law():
    pluck = replace(LOW_E, glide=0.0, loss=2.0, loss_square=1e-6)
    for number in (1, 5):
        size = np.abs(hilbert(alone(pluck, number)))
        a, b = size[19200:21600].mean(), size[48000:50400].mean()
        hertz = partials_of(pluck).hertz[number - 1]
        assert np.log(a / b) / 0.6 == pytest.approx(2.0 + 1e-6 * hertz**2, rel=1e-3)


def test_shape_is_a_triangle():
    """Modes of a triangle plucked at p: the sum is straight on both sides (Fletcher and Rossing, 2.7)."""
    pluck = replace(LOW_E, width=0.0, place=0.25)
    n = np.arange(1.0, 4000.0)
    x = np.array([0.05, 0.125, 0.25, 0.625, 0.9])
    y = shape_of(pluck, n) @ np.sin(np.pi * np.outer(n, x))
    assert y / y[2] == pytest.approx(np.where(x <= 0.25, x / 0.25, (1 - x) / 0.75), abs=1e-3)


def test_two_pickups_add():
    both = replace(LOW_E, pickups=((0.1, 1.0), (0.25, -0.5)))
    n = np.array([1.0, 4.0])
    assert ear_of(both, n) == pytest.approx(np.sin(np.pi * n * 0.1) - 0.5 * np.sin(np.pi * n * 0.25))


def test_nothing_folds_back():
    high = replace(LOW_E, fundamental=3000.0, rate=22050.0, glide=90.0)
    assert (partials_of(high).hertz * 2 ** (90 / 1200) < HIGHEST * 22050.0).all()
    assert len(partials_of(high).hertz) == 3


def test_a_slide_moves_the_pitch_evenly():
    pluck = replace(LOW_E, glide=3.0, slide=Slide(-150.0, 0.5, 1.5))
    samples = alone(pluck, 1)
    first = truth(pluck)
    for at in (0.3, 1.0, 1.75):
        got, times = between(samples, at - 0.1, at + 0.1)
        turned = -150.0 * np.clip(times - 0.5, 0.0, 1.0) + first.glide_at(times)
        assert cents(got / first.first_partial) == pytest.approx(cents((2.0 ** (turned / 1200.0)).mean()), abs=2e-3)


def test_level_and_attack():
    quiet = play(replace(LOW_E, level=-20.0))
    assert np.abs(quiet).max() == pytest.approx(0.1)
    noisy = play(replace(LOW_E, level=-20.0, attack=10.0), seed=3)
    rest = noisy - quiet
    assert np.abs(rest).max() == pytest.approx(0.1 * 10**-0.5)
    assert np.abs(rest[2400:]).max() < 1e-5 * np.abs(rest).max()
    assert np.array_equal(noisy, play(replace(LOW_E, level=-20.0, attack=10.0), seed=3))
    assert not np.array_equal(noisy, play(replace(LOW_E, level=-20.0, attack=10.0), seed=4))
    assert np.array_equal(at_level(np.zeros(4), 0.0), np.zeros(4))


def test_silence_where_the_pickup_hears_nothing():
    assert not play(replace(LOW_E, pickups=((0.1, 0.0),))).any()


def test_harmonic_leaves_every_second_partial():
    touched = harmonic(LOW_E, 2)
    assert partials_of(touched).hertz[:10] == pytest.approx(partials_of(LOW_E).hertz[1:20:2], rel=1e-12)
    assert np.abs(shape_of(touched, np.array([1.0, 2.0]))) == pytest.approx(
        4.0 * np.abs(shape_of(LOW_E, np.array([2.0, 4.0]))), rel=1e-3
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"fundamental": 3.0}, "fundamental of a pluck is 3 Hz; allowed is 10 to 6000 Hz"),
        ({"seconds": float("nan")}, "seconds of a pluck is nan"),
        ({"pickups": ()}, "pickups"),
        ({"pickups": ((1.0, 1.0),)}, "pickups"),
        ({"fundamental": 5000.0, "rate": 8000.0}, "raise the rate"),
    ],
)
def test_impossible_plucks_are_refused(change, words):
    with pytest.raises(InputError, match=words.replace(".", r"\.")):
        replace(LOW_E, **change)
