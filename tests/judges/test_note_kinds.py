"""Every kind of recorded note is what its name says, as far as numpy can tell without listening."""

import numpy as np
import pytest

from tests.judges.note_kinds import BEATING, BODY, CLIPPING, KINDS, LOW_SNR, RATES, made

pytestmark = pytest.mark.slow


def first_height(samples, rate, hertz):
    """Height of the spectrum near the first partial over its median around it."""
    size = 1 << 19
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    at = np.fft.rfftfreq(size, 1.0 / rate)
    near = spectrum[np.abs(at - hertz) < 3.0]
    around = spectrum[(np.abs(at - hertz) > 0.2 * hertz) & (np.abs(at - hertz) < 0.4 * hertz)]
    return near.max() / np.median(around)


def test_twenty_kinds_and_their_groups():
    assert len(KINDS) == 20
    assert set(BEATING) | set(CLIPPING) | set(BODY) | set(LOW_SNR) < set(KINDS)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_a_kind(kind):
    for seed in range(4):
        samples, rate, truth, nominal = made(kind, seed)
        assert np.isfinite(samples).all()
        assert samples.ndim == 1
        assert rate == 8000.0 if kind == "telephone" else rate in RATES
        assert 0.4 <= len(samples) / rate - truth.released <= 4.01
        assert 0.02 <= truth.released <= 0.151
        assert 0.001 < np.abs(samples).max() <= 1.6
        beside = 40.0 if kind in BODY else 35.0
        assert abs(1200.0 * np.log2(truth.first_partial / nominal)) < beside
        assert (truth.split is not None) == (kind in BEATING)
        before = samples[: int(0.9 * truth.released * rate)]
        after = samples[int((truth.released + 0.02) * rate) : int((truth.released + 0.3) * rate)]
        assert np.std(before) < np.std(after)
        again = made(kind, seed)
        assert np.array_equal(samples, again[0])


@pytest.mark.parametrize("kind", ["open", "fretted", "strong glide", "harmonic"])
def test_the_first_partial_is_there(kind):
    for seed in range(3):
        samples, rate, truth, _ = made(kind, seed)
        assert first_height(samples, rate, truth.first_partial) > 10.0


def test_seeds_differ():
    assert made("open", 1)[2].first_partial != made("open", 2)[2].first_partial


def test_clipping_holds_many_samples_at_one_value():
    samples = made("clipped hard", 1)[0]
    assert (np.abs(samples) == np.abs(samples).max()).sum() > 10


def test_strings_and_rates_spread():
    """Twenty-five notes of the kind that is made quickest: low and high ones, most rates."""
    some = [made("damped at once", seed) for seed in range(25)]
    hertz = np.array([nominal for _, _, _, nominal in some])
    assert hertz.min() < 80.0
    assert hertz.max() > 400.0
    assert len({rate for _, rate, _, _ in some}) >= 4


@pytest.mark.parametrize(("kind", "least", "most"), [("open", 28.0, 62.0), ("white noise", 9.0, 21.0)])
def test_noise_is_where_it_is_told(kind, least, most):
    """Noise before the note against the sound after it, in dB."""
    for seed in range(5):
        samples, rate, truth, _ = made(kind, seed)
        before = samples[: int(truth.released * rate) - 8]
        whole = np.sqrt(np.mean(samples**2))
        assert least < 20.0 * np.log10(whole / np.sqrt(np.mean(before**2))) < most
