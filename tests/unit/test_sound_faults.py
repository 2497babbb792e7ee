"""Each way of spoiling a sound does what it says, measured with numpy and scipy on known tones."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import hilbert, welch

from setwright.errors import InputError
from setwright.practice import sound_faults as faults
from setwright.practice.sound import Partials, Pluck, glide_of, partials_of, play, render

RATE = 48000.0
TIMES = np.arange(48000) / RATE
TONE = 0.5 * np.sin(2.0 * np.pi * 440.0 * TIMES)
NOTE = Pluck(110.0, loss=0.01, loss_square=0.0, seconds=4.0)


def height_at(samples, hertz, rate=RATE):
    """Height of the part of a sound at one frequency, over whole periods."""
    times = np.arange(len(samples)) / rate
    return 2.0 * abs(np.mean(samples * np.exp(-2j * np.pi * hertz * times)))


def test_added_sound_lies_where_it_is_told():
    assert faults.rms(TONE) == pytest.approx(0.5 / np.sqrt(2.0), rel=1e-9)
    assert faults.rms(np.zeros(0)) == 0.0
    added = faults.below(TONE, np.ones(48000), 20.0) - TONE
    assert added == pytest.approx(0.05 / np.sqrt(2.0))


@pytest.mark.parametrize("pink", [False, True])
def test_noise_level(pink):
    noise = faults.noisy(TONE, 26.0, 5, pink) - TONE
    assert 20.0 * np.log10(faults.rms(TONE) / faults.rms(noise)) == pytest.approx(26.0)
    assert np.array_equal(noise, faults.noisy(TONE, 26.0, 5, pink) - TONE)
    assert not np.array_equal(noise, faults.noisy(TONE, 26.0, 6, pink) - TONE)


def test_colours_of_noise():
    """Welch's spectra: white is level, pink falls 10 dB from one decade to the next, each within 1 dB."""
    loud = np.tile(TONE, 20)
    for pink, fall in ((False, 0.0), (True, 10.0)):
        hertz, power = welch(faults.noisy(loud, 0.0, 1, pink) - loud, RATE, nperseg=4800)
        low = power[(hertz > 800) & (hertz < 1250)].mean()
        high = power[(hertz > 8000) & (hertz < 12500)].mean()
        assert 10.0 * np.log10(low / high) == pytest.approx(fall, abs=1.0)


def test_second_polarisation_beats():
    """Two tones 2 cents apart swell and fade with their difference: at 0.5 of the first one's height by 1.5 to 0.5."""
    pluck = replace(NOTE, seconds=16.0, rate=8000.0, place=0.5, pickups=((1.0 / 3.0, 1.0),), width=0.2)
    both = faults.second_polarisation(play(pluck), pluck, 2.0, 0.5, 0.01)
    swell = np.abs(hilbert(both))[800:-800] * np.exp(0.01 * (np.arange(800, len(both) - 800) / 8000.0))
    assert swell.max() / swell.min() == pytest.approx(3.0, rel=0.02)
    apart = 110.0 * (2.0 ** (2.0 / 1200.0) - 1.0)
    highest, lowest = np.argmax(swell), np.argmin(swell)
    halves = abs(highest - lowest) / 8000.0 * 2.0 * apart
    assert halves == pytest.approx(round(halves), abs=0.05)
    assert round(halves) % 2 == 1


def test_second_polarisation_has_its_own_decay():
    pluck = replace(NOTE, loss=1.0, rate=8000.0)
    second = faults.second_polarisation(np.zeros(32000), pluck, 0.0, 0.5, 3.0)
    size = [height_at(second[a : a + 4000], partials_of(pluck).hertz[0], 8000.0) for a in (4000, 20000)]
    assert np.log(size[0] / size[1]) / 2.0 == pytest.approx(3.0, rel=0.01)


def test_pulled_partials_go_flat_as_the_magnet_feels_them():
    """Partial n of the pulled direction is flat by sin^2(n pi x) / n^2; over a node not at all (x = 1/4, n = 4)."""
    pluck = replace(NOTE, seconds=16.0, rate=8000.0, width=0.0)
    second = faults.pulled(np.zeros(128000), pluck, 6.0, 1.0, 0.25)
    window = np.hanning(len(second))
    spectrum = np.abs(np.fft.rfft(second * window, 1 << 22))
    for n, share in ((1, 1.0), (2, 2.0 / 4.0), (3, 1.0 / 9.0), (4, 0.0)):
        hertz = partials_of(pluck).hertz[n - 1]
        low = int((hertz - 5.0) * (1 << 22) / 8000.0)
        peak = (low + np.argmax(spectrum[low : low + 5300])) * 8000.0 / (1 << 22)
        assert 1200.0 * np.log2(hertz / peak) == pytest.approx(6.0 * share, abs=0.05)


def test_weak_first_partial():
    weak = partials_of(faults.weak_fundamental(NOTE, 40.0)).height[0]
    assert 20.0 * np.log10(abs(partials_of(NOTE).height[0] / weak)) == pytest.approx(40.0)


@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_hum(mains):
    added = faults.hum(TONE, RATE, 20.0, mains, 1) - TONE
    assert 20.0 * np.log10(faults.rms(TONE) / faults.rms(added)) == pytest.approx(20.0)
    assert height_at(added, 3 * mains) / height_at(added, mains) == pytest.approx(faults.HUM[2], rel=1e-6)
    assert height_at(added, 1.5 * mains) == pytest.approx(0.0, abs=1e-9)


def test_clipping():
    """A cut sine and a bent one: hard keeps what is below the limit, tanh is the stated curve."""
    hard = faults.clipped(TONE, 0.3)
    assert np.abs(hard).max() == 0.3
    assert np.array_equal(hard[np.abs(TONE) < 0.3], TONE[np.abs(TONE) < 0.3])
    soft = faults.clipped(TONE, 0.3, soft=True)
    assert np.abs(soft).max() == pytest.approx(0.3 * np.tanh(np.abs(TONE).max() / 0.3))
    assert soft[1] == pytest.approx(TONE[1], rel=0.01)


def test_bent_adds_the_octave_and_folds_nothing_back():
    """x + s x^2 / p of a sine of height p: octave of s p / 2, constant of s p / 2; of 15 kHz no octave fits 48 kHz."""
    bent = faults.bent(TONE, 0.2)
    assert height_at(bent, 880.0) == pytest.approx(0.05, rel=1e-6)
    assert bent.mean() == pytest.approx(0.05, rel=1e-6)
    high = 0.5 * np.sin(2.0 * np.pi * 15000.0 * TIMES)
    assert height_at(faults.bent(high, 0.2), 18000.0) == pytest.approx(0.0, abs=1e-9)
    assert np.array_equal(faults.bent(np.zeros(8), 0.2), np.zeros(8))


def test_sympathetic_strings_answer_where_they_agree():
    """Driven by 440 Hz, a string of 110 Hz answers with its fourth partial more than one of 123.5 Hz does at all."""
    near = Pluck(110.0, inharmonicity=0.0)
    added = faults.sympathetic(TONE, RATE, [near, Pluck(123.5)], 30.0) - TONE
    assert 20.0 * np.log10(faults.rms(TONE) / faults.rms(added)) == pytest.approx(30.0)
    assert height_at(added, 440.0) > 20.0 * height_at(added, 494.0)


def test_sympathetic_string_rings_on():
    burst = TONE * (TIMES < 0.2)
    added = faults.sympathetic(burst, RATE, [Pluck(110.0, inharmonicity=0.0, loss=2.0, loss_square=0.0)], 10.0) - burst
    late = [height_at(added[a : a + 12000], 440.0) for a in (12000, 36000)]
    assert np.log(late[0] / late[1]) / 0.5 == pytest.approx(2.0, rel=0.05)


def test_buzz_comes_once_in_a_period_while_it_is_loud():
    falling = TONE * np.exp(-3.0 * TIMES)
    added = faults.buzz(falling, RATE, 100.0, 12.0, 1, until=0.4) - falling
    peak = np.abs(falling).max()
    assert np.abs(added).max() == pytest.approx(peak * 10 ** (-12 / 20))
    assert added[: int(0.2 * RATE)].any()
    assert not added[int((np.log(1 / 0.4) / 3.0 + 0.02) * RATE) :].any()
    hit = np.abs(added[:9600]).reshape(20, 480)
    assert (hit[:, :48].max(axis=1) > 0).all()
    assert not hit[:, 48:].any()
    assert np.array_equal(faults.buzz(np.zeros(4800), RATE, 100.0, 12.0), np.zeros(4800))


def test_a_hand_stops_it():
    stopped = faults.damped(TONE, RATE, 0.4, 0.02)
    assert np.array_equal(stopped[:19200], TONE[:19200])
    late = height_at(stopped[21600:24000], 440.0) / height_at(stopped[20640:23040], 440.0)
    assert np.log(1.0 / late) * 0.02 == pytest.approx(0.02, rel=0.01)


def test_offset_and_channels():
    assert faults.offset(TONE, 0.1).mean() == pytest.approx(0.1)
    both = faults.stereo(TONE, 1.0, -0.25)
    assert both.shape == (48000, 2)
    assert np.array_equal(both[:, 1], -0.25 * TONE)


@pytest.mark.parametrize("bits", [16, 24])
def test_quantised(bits):
    """Error of rounding is step / sqrt(12) (Bennett, Bell Syst. Tech. J. 27, 446, 1948); 3 % of a steady tone's."""
    tone = 0.5 * np.sin(2.0 * np.pi * 441.2345 * TIMES)
    step = 2.0 ** (1 - bits)
    assert faults.rms(faults.quantised(tone, bits) - tone) == pytest.approx(step / np.sqrt(12.0), rel=0.03)
    assert faults.quantised(np.array([2.0, -2.0]), bits).tolist() == [1.0 - step, -1.0]


@pytest.mark.parametrize("rate", [22050.0, 44100.0, 48000.0, 192000.0])
def test_telephone(rate):
    """A tone inside the band keeps its frequency to a hundredth of a cent, one outside goes; noise of 8-bit mu-law is
    some 38 dB below (Smith, Bell Syst. Tech. J. 36, 653, 1957, from memory)."""
    times = np.arange(int(rate)) / rate
    inside, outside = (0.5 * np.sin(2.0 * np.pi * f * times) for f in (1010.0, 120.0))
    few, slow = faults.telephone(inside + outside, rate)
    assert slow == 8000.0
    assert len(few) == 8000
    middle = few[1600:6400]
    want = 0.5 * np.sin(2.0 * np.pi * 1010.0 * np.arange(1600, 6400) / 8000.0)
    assert height_at(middle, 120.0, 8000.0) < 0.01
    assert height_at(middle, 1010.0, 8000.0) == pytest.approx(0.5, rel=0.01)
    assert 20.0 * np.log10(faults.rms(want) / faults.rms(middle - want)) == pytest.approx(38.0, abs=4.0)
    turn = np.exp(-2j * np.pi * 1010.0 * np.arange(4800) / 8000.0) * middle
    turned = np.angle(turn[2400:].mean() / turn[:2400].mean())
    assert 1200.0 / np.log(2.0) * turned / (2.0 * np.pi * 1010.0 * 0.3) == pytest.approx(0.0, abs=0.01)


def test_defects_combine():
    """Hum, noise, clipping and rounding one after another still hold the note."""
    note = Pluck(110.0, seconds=1.0)
    out = faults.quantised(faults.clipped(faults.noisy(faults.hum(play(note), RATE, 30.0), 40.0), 0.4), 16)
    first = render(Partials(*(value[:1] for value in vars(partials_of(note)).values())), glide_of(note), note)
    assert np.corrcoef(out, play(note))[0, 1] > 0.98
    assert abs(np.corrcoef(out, first)[0, 1]) > 0.2


@pytest.mark.parametrize("rate", [6000.0, 44100.5])
def test_rates_no_telephone_takes(rate):
    with pytest.raises(InputError, match="whole numbers from 8000 Hz"):
        faults.telephone(TONE, rate)


def test_silence_has_no_level():
    with pytest.raises(InputError, match="silent"):
        faults.below(TONE, np.zeros(48000), 20.0)
