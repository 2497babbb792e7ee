"""Where notes begin and end, on sounds made here: sums of decaying sines whose onsets are known to the sample."""

import tracemalloc

import numpy as np
import pytest

from setwright.listening.onsets import PAGE, candidates, notes_of, onsets, spectra
from setwright.listening.sound import Sound

RATE = 22050
GUITAR = (329.63, 246.94, 196.0, 146.83, 110.0, 82.41)
BASS = (97.999, 73.416, 55.0, 41.203, 30.868, 41.203)
NEAR = 0.010  # s


def tone(hertz, seconds=5.0, level=0.3, stiff=1e-4, decay=2.0, partials=20, rate=RATE, seed=0):
    """A string: partials n f sqrt(1 + B n^2), weaker and shorter the higher they are."""
    t = np.arange(round(seconds * rate)) / rate
    phases = np.random.default_rng(seed).uniform(0, 2 * np.pi, partials)
    sound = np.zeros(len(t))
    for n, phase in enumerate(phases, start=1):
        at = n * hertz * np.sqrt(1 + stiff * n * n)
        if at < 0.45 * rate:
            sound += np.sin(2 * np.pi * at * t + phase) / n * np.exp(-t / decay * (1 + 0.1 * n))
    return level * sound / np.abs(sound).max()


def damped(sound, after, rate=RATE, over=0.02):
    at, ramp = round(after * rate), round(over * rate)
    out = sound[: at + ramp].copy()
    out[at:] *= np.linspace(1.0, 0.0, len(out) - at)
    return out


def take(parts, seconds, noise=1e-4, rate=RATE, seed=1):
    out = noise * np.random.default_rng(seed).standard_normal(round(seconds * rate))
    for start, sound in parts:
        at = round(start * rate)
        piece = sound[: len(out) - at]
        out[at : at + len(piece)] += piece
    return out


def knock(level=0.3, rate=RATE, seed=5):
    size = round(0.08 * rate)
    return level * np.random.default_rng(seed).standard_normal(size) * np.exp(-np.arange(size) / rate / 0.012)


def talk(seconds, rate=RATE, seed=0):
    """Vowels with moving pitch and hisses between: sums of harmonics under two formants (made up, no source)."""
    rng = np.random.default_rng(seed)
    out, at = np.zeros(round(seconds * rate)), 0
    while at < len(out):
        t = np.arange(round(rng.uniform(0.12, 0.45) * rate)) / rate
        pitch = rng.uniform(95, 180) * (1 + rng.choice([-1, 1]) * rng.uniform(0.08, 0.3) * t / t[-1])
        phase = 2 * np.pi * np.cumsum(pitch) / rate
        low, high = rng.uniform(300, 900), rng.uniform(900, 2400)
        n = np.arange(1, 25)[:, None]
        shape = 1 / (1 + ((n * pitch - low) / 120) ** 2) + 0.5 / (1 + ((n * pitch - high) / 200) ** 2)
        vowel = (shape * np.sin(n * phase)).sum(axis=0) * np.sqrt(np.maximum(np.sin(np.pi * t / t[-1]), 0))
        hiss = 0.3 * rng.standard_normal(round(0.06 * rate))
        for piece in (vowel, hiss):
            end = min(at + len(piece), len(out))
            out[at:end] += piece[: end - at]
            at = min(end + round(rng.uniform(0, 0.05) * rate), len(out))
    return 0.1 * out / np.abs(out).max()


def heard(samples, rate=RATE):
    return candidates(Sound(samples, rate))


def good(samples, rate=RATE):
    return [one for one in heard(samples, rate) if not one.doubt]


STARTS = [0.5 + 2.5 * i for i in range(6)]


@pytest.mark.parametrize("pitches", [GUITAR, BASS], ids=["guitar", "bass"])
@pytest.mark.parametrize("length", [2.0, 2.5], ids=["damped", "into each other"])
@pytest.mark.parametrize("rate", [8000, 44100])
def test_onsets_within_ten_milliseconds(pitches, length, rate):
    stop = length if length < 2.5 else 2.8
    parts = [(s, damped(tone(f, rate=rate), stop, rate)) for s, f in zip(STARTS, pitches, strict=True)]
    found = good(take(parts, 16.0, rate=rate), rate)
    assert [one.start for one in found] == pytest.approx(STARTS, abs=NEAR)
    lasts = [one.end - one.start for one in found[:-1]]
    assert lasts == pytest.approx([length] * 5, abs=0.03)


def test_the_same_pitch_again_and_again():
    found = good(take([(s, tone(110.0)) for s in STARTS], 15.4))
    assert [one.start for one in found] == pytest.approx(STARTS, abs=NEAR)
    assert [one.end for one in found[:-1]] == pytest.approx(STARTS[1:], abs=NEAR)


def test_levels_forty_decibels_apart():
    levels = [0.5, 0.005] * 3
    parts = [(s, damped(tone(f, level=a), 2.2)) for s, f, a in zip(STARTS, GUITAR, levels, strict=True)]
    found = good(take(parts, 16.0, noise=2e-5))
    assert [one.start for one in found] == pytest.approx(STARTS, abs=NEAR)


def test_the_level_of_the_whole_take_does_not_matter():
    samples = take([(s, damped(tone(f), 2.0)) for s, f in zip(STARTS, GUITAR, strict=True)], 16.0)
    loud, soft = good(samples), good(1e-3 * samples)
    assert [one.start for one in soft] == pytest.approx([one.start for one in loud], abs=1e-3)


@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_hum_and_a_constant_part_are_no_notes(mains):
    t = np.arange(16 * RATE) / RATE
    hum = 0.1 + sum(0.02 / n * np.sin(2 * np.pi * n * mains * t) for n in (1, 2, 3, 5))
    parts = [(s, damped(tone(f), 2.0)) for s, f in zip(STARTS, GUITAR, strict=True)]
    assert [one.start for one in good(take(parts, 16.0) + hum)] == pytest.approx(STARTS, abs=NEAR)
    assert good(take([], 16.0) + hum) == []


@pytest.mark.parametrize("noise", [0.0, 1e-4])
def test_a_note_may_begin_with_the_recording(noise):
    (one,) = good(take([(0.0, tone(110.0))], 4.0, noise))
    assert one.start == pytest.approx(0.0, abs=NEAR)
    assert one.end == pytest.approx(4.0, abs=0.05)


@pytest.mark.parametrize("seed", range(5))
def test_steady_noise_holds_nothing(seed):
    assert heard(take([], 20.0, 10.0 ** (-1 - seed), seed=seed)) == []


def test_a_note_ends_where_it_sinks_into_the_noise():
    (one,) = good(take([(0.5, tone(196.0, 12.0, 0.1, decay=0.5, partials=1))], 12.0, 1e-3))
    # 0.1 exp(-t (1 + 0.1) / 0.5) meets the noise of a 40 ms Hann frame, 1e-3 sqrt(4 * 1.5 / N) with N = 882
    meets = 0.5 / 1.1 * np.log(0.1 / (1e-3 * np.sqrt(6.0 / 882)))
    assert one.end - 0.5 == pytest.approx(meets, abs=0.6)


def test_a_note_is_cut_at_twenty_seconds():
    (one,) = good(take([(0.5, tone(82.41, 30.0, decay=20.0))], 29.0))
    assert one.end - one.start == pytest.approx(20.0, abs=0.05)


def test_beats_are_no_onsets():
    samples = take([(0.5, tone(146.83) + tone(146.83 * 2 ** (12 / 1200), seed=3))], 5.0)
    assert [one.start for one in heard(samples)] == pytest.approx([0.5], abs=NEAR)


def test_a_knock_is_none_and_does_not_end_a_note():
    found = heard(take([(0.5, tone(110.0)), (1.5, knock()), (4.0, knock(seed=6))], 5.3))
    notes = [one for one in found if not one.doubt]
    assert [one.start for one in notes] == pytest.approx([0.5], abs=NEAR)
    assert notes[0].end == pytest.approx(5.3, abs=0.06)
    assert notes[0].part == pytest.approx((1.65, 3.98), abs=0.03)
    knocks = [one for one in found if one.doubt]
    assert [one.start for one in knocks] == pytest.approx([1.5, 4.0], abs=NEAR)
    assert all("knock" in one.doubt for one in knocks)


def test_a_knock_before_anything():
    found = heard(take([(0.5, knock()), (1.5, damped(tone(110.0), 1.0))], 4.0))
    assert ["knock" in one.doubt for one in found] == [True, False]


def test_short_notes_say_so():
    (one,) = heard(take([(0.5, damped(tone(196.0), 0.22))], 2.0))
    assert "too short: 0.2" in one.doubt
    assert "at least 0.3 s" in one.doubt


def test_a_rush_is_noisy():
    rush = np.random.default_rng(2).standard_normal(RATE)
    found = heard(take([(0.5, 0.05 * rush)], 3.0))
    assert found
    assert all("noisy" in one.doubt for one in found)


@pytest.mark.parametrize("seed", range(4))
def test_most_of_talk_is_left_out_with_a_reason_and_the_note_after_it_is_not(seed):
    found = heard(take([(0.5, talk(5.0, seed=seed)), (6.5, damped(tone(110.0), 2.0))], 10.0))
    before = [one for one in found if one.start < 6.0]
    assert len(before) >= 5
    assert sum(1 for one in before if not one.doubt) <= 2  # the rest is for the pitch to refuse
    assert [one.start for one in found if one.start > 6.0 and not one.doubt] == pytest.approx([6.5], abs=NEAR)


def test_a_pitch_that_moves_is_told():
    t = np.arange(2 * RATE) / RATE
    phase = 2 * np.pi * np.cumsum(110.0 * 2 ** (3.0 * t / 12)) / RATE  # three semitones a second
    glide = 0.2 * sum(np.sin(n * phase) / n for n in range(1, 12)) * np.exp(-t)
    (one,) = heard(take([(0.5, damped(glide, 1.5))], 3.0))
    assert "its pitch moves" in one.doubt


def sliding(cents, seconds=1.8):
    """A note of 110 Hz whose pitch moves evenly by so many cents from 0.3 to 1.0 s after its onset."""
    t = np.arange(round(seconds * RATE)) / RATE
    pitch = 110.0 * 2 ** (cents * np.clip((t - 0.3) / 0.7, 0.0, 1.0) / 1200)
    phase = 2 * np.pi * np.cumsum(pitch) / RATE
    return damped(0.2 * sum(np.sin(n * phase) / n for n in range(1, 15)) * np.exp(-0.7 * t), seconds - 0.1)


@pytest.mark.parametrize(("cents", "told"), [(60, "rises by about 60 c"), (12, "rises by about 12 c"), (0, ""),
                                             (-12, ""), (-80, "falls by about 80 c")])  # fmt: skip
def test_a_peg_turned_while_a_note_sounds_is_told_and_the_fall_of_a_hard_pluck_is_not(cents, told):
    (one,) = heard(take([(0.5, sliding(cents))], 3.0))
    assert told in one.doubt
    assert bool(told) == bool(one.doubt)


def test_silence_and_next_to_nothing():
    assert heard(np.zeros(RATE)) == []
    assert heard(np.zeros(3)) == []
    assert heard(take([], 0.05)) == []
    frames = spectra(Sound(np.zeros(10), 8000.0))
    assert onsets(frames) == []


def blocks(samples, seconds, rate=RATE):
    size = round(seconds * rate)
    return [Sound(samples[i : i + size], rate, i / rate) for i in range(0, len(samples), size)]


@pytest.fixture(scope="module")
def long():
    starts = np.arange(1.0, 195.0, 3.0)
    sounds = [damped(tone(f, rate=8000), 2.4, 8000) for f in GUITAR]
    return starts, take([(s, sounds[i % 6]) for i, s in enumerate(starts)], 200.0, rate=8000)


@pytest.mark.parametrize("seconds", [0.7, 10.0, 500.0])
def test_pages_join_without_loss_or_double(long, seconds):
    starts, samples = long
    assert len(samples) > 3 * PAGE * 8000
    found = [(one, sound) for one, sound in notes_of(blocks(samples, seconds, 8000)) if not one.doubt]
    assert [one.start for one, _ in found] == pytest.approx(starts, abs=NEAR)
    for one, sound in found:
        assert sound.start == pytest.approx(one.part[0], abs=1e-3)
        assert len(sound.samples) == pytest.approx(8000 * (one.part[1] - one.part[0]), abs=2)
        first = round(sound.start * 8000)
        assert np.array_equal(sound.samples, samples[first : first + len(sound.samples)])


def test_nothing_in_nothing_out():
    assert list(notes_of([])) == []
    assert list(notes_of([Sound(np.zeros(0), 8000.0)])) == []


@pytest.mark.slow
def test_memory_stays_that_of_a_page():
    def made(minutes):
        sound = damped(tone(110.0, rate=8000), 2.4, 8000)
        for i in range(minutes * 20):
            yield Sound(take([(0.2, sound)], 3.0, rate=8000, seed=i), 8000, 3.0 * i)

    def peak(minutes):
        tracemalloc.start()
        count = sum(1 for one, _ in notes_of(made(minutes)) if not one.doubt)
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert count == minutes * 20
        return most

    assert peak(20) < 1.15 * peak(2)
