"""Live listening, part by part: thinning, first look, partials cut out, courses that are known, names, states."""

from __future__ import annotations

import numpy as np
import pytest

from setwright.errors import InputError
from setwright.listening import live as room
from setwright.listening import live_sound
from setwright.listening.live import Live
from setwright.listening.live_course import (
    CENT,
    Heard,
    Shapes,
    String,
    bends_before,
    course,
    glide_since,
)
from setwright.listening.live_sound import (
    SLOW,
    Kept,
    Thinned,
    comb_for,
    first_look,
    noise_through,
    peaks_in,
    window_for,
)
from setwright.listening.spectrum import Coarse

pytestmark = pytest.mark.slow

RATE = 8000.0
GUITAR = (329.63, 246.94, 196.0, 146.83, 110.0, 82.41)


def string(hertz, seconds, rate=RATE, stiff=1e-4, loss=1.0, partials=12, cents=lambda t: 0.0 * t):
    """A plucked string whose first partial lies at `hertz`, its partials falling as 1 / n."""
    times = np.arange(round(seconds * rate)) / rate
    turns = np.concatenate([[0.0], np.cumsum(hertz * np.exp(CENT * cents(times)))[:-1]]) / rate
    n = np.arange(1.0, min(partials, int(0.4 * rate / hertz)) + 1.0)[:, None]
    over = n * np.sqrt((1.0 + stiff * n * n) / (1.0 + stiff))
    return 0.1 * np.sum(np.exp(-loss * n**0.5 * times) * np.sin(2.0 * np.pi * over * turns) / n, axis=0)


def hiss(count, sd=1e-5, seed=0):
    return sd * np.random.default_rng(seed).standard_normal(count)


def after_silence(samples, rate=RATE, silence=0.2, sd=1e-5):
    whole = np.concatenate([np.zeros(round(silence * rate)), samples])
    return whole + hiss(len(whole), sd)


def pushed(live, samples, block=256):
    readings = [live.push(samples[k : k + block]) for k in range(0, len(samples), block)]
    return [one for one in readings if one is not None]


@pytest.mark.parametrize(("rate", "by"), [(8000.0, 1), (22050.0, 2), (44100.0, 5), (48000.0, 6), (192000.0, 24)])
def test_thinned_sound_is_the_same_sound(rate, by):
    """A tone below 0.42 of the new rate comes out as it went in, `late` behind; an offset does not."""
    thinned = Thinned(rate)
    assert thinned.by == by
    times = np.arange(round(rate)) / rate
    out = np.concatenate(
        [thinned.push(0.2 + np.sin(2.0 * np.pi * 800.0 * part)) for part in np.split(times, [7, 7, 999])]
    )
    at = np.arange(len(out)) / thinned.rate - thinned.late
    late = slice(len(out) // 2, None)
    assert np.abs(out - np.sin(2.0 * np.pi * 800.0 * at))[late].max() < 0.01


def test_thinned_sound_holds_nothing_from_above():
    thinned = Thinned(48000.0)
    out = thinned.push(np.sin(2.0 * np.pi * 5200.0 * np.arange(48000) / 48000.0))
    assert np.abs(out[200:]).max() < 1e-3


def test_only_the_latest_second_is_kept():
    kept = Kept(RATE, -0.5)
    for k in range(400):
        kept.add(np.full(kept.frame, float(k)))
    assert kept.now == pytest.approx(-0.5 + 400 * 0.004)
    assert len(kept.samples) <= RATE + kept.frame
    assert kept.powers[-1] == 399.0**2
    assert set(kept.between(kept.now - 0.004, kept.now)) == {399.0}
    assert len(kept.between(-9.0, -8.0)) == 0


def test_peaks_that_stand_close_are_seen():
    """Six periods of 41 Hz and its multiples: six bins of the window apart, whose lobes reach three."""
    samples = string(41.2, 0.15, partials=30)
    found = peaks_in(samples, RATE, 1000.0).hertz
    n = np.arange(1.0, 20.0)
    want = 41.2 * n * np.sqrt((1.0 + 1e-4 * n * n) / (1.0 + 1e-4))
    assert np.abs(found[:, None] - want).min(axis=0).max() < 1.5


@pytest.mark.parametrize("hertz", [41.2, 55.0, 98.0, 196.0, 330.0, 1175.0])
@pytest.mark.parametrize("missing", [(), (1,), (2, 4)])
def test_first_look(hertz, missing):
    n = [k for k in range(1, 40) if k not in missing and k * hertz < 3300.0]
    if len(n) < 2:
        pytest.skip("nothing is left of it")
    stiff, times = 2e-4, np.arange(840) / RATE
    tones = [np.sin(2.0 * np.pi * k * hertz * np.sqrt(1.0 + stiff * k * k) * times + k) / k for k in n]
    look = first_look(np.sum(tones, axis=0) + hiss(840, 1e-3), RATE)
    assert look is not None
    assert abs(np.log(look.string.fundamental / hertz)) / CENT < 25.0
    about = first_look(np.sum(tones, axis=0) + hiss(840, 1e-3), RATE, about=0.5 * hertz)
    assert about is not None
    assert abs(np.log(about.string.fundamental / hertz)) / CENT < 25.0


def test_no_first_look_at_nothing():
    assert first_look(np.zeros(800), RATE) is None


def test_a_comb_tells_amplitude_and_phase():
    one = String(np.array([1.0, 2.0, 3.0]), 100.0, 0.0)
    comb = comb_for(one, RATE, window_for(100.0))
    since = (np.arange(len(comb.cuts)) - 0.5 * (len(comb.cuts) - 1)) / RATE
    samples = 0.3 * np.cos(2.0 * np.pi * 200.0 * since + 0.7)
    assert comb.at(samples) == pytest.approx([0.0, 0.3 * np.exp(0.7j), 0.0], abs=1e-3)
    assert window_for(41.2) == pytest.approx(3.0 / 41.2)


def test_noise_through_a_comb():
    """Variance of either part over many pieces of white noise, known to 3 % from 2 x 1000 values."""
    comb = comb_for(String(np.array([1.0]), 500.0, 0.0), RATE, 0.045)
    cuts = np.array([comb.at(hiss(len(comb.cuts), 1.0, seed)) for seed in range(1000)])[:, 0]
    assert np.mean(np.abs(cuts) ** 2) / 2.0 == pytest.approx(noise_through(1.0, 0.045, RATE), rel=0.1)


def lawful(hertz=110.0, count=8, stiff=1e-4):
    return String(np.arange(1.0, count + 1.0), hertz, stiff)


def phases(one, cents, until=1.0, amplitude=0.1, noise=4e-8, decay=1.0):
    """Phases of a string whose first partial lies off by cents(t), summed finely, and whose partials all fall alike."""
    fine = np.arange(0.0, until, 1e-4)
    ahead = np.concatenate([[0.0], np.cumsum(np.expm1(CENT * cents(fine)))[:-1]]) * 1e-4
    times = np.arange(0.05, until - 0.02, 0.011)
    n = one.numbers
    follows = (1.0 + one.inharmonicity) / (1.0 + one.inharmonicity * n * n)
    cycles = one.hertz * (times[:, None] + follows * np.interp(times, fine, ahead)[:, None])
    falling = amplitude * np.exp(-decay * times)[:, None] * np.ones(len(n))
    return Heard(times, cycles, falling, np.full(len(n), noise))


@pytest.mark.parametrize("cents", [0.0, 12.0, -12.0])
def test_a_steady_pitch_beside_where_it_was_taken_to_be(cents):
    """Against the phases of a string whose pitch and stiffness are other."""
    true = String(np.arange(1.0, 9.0), 110.0 * np.exp(CENT * cents), 1.5e-4)
    heard = phases(true, lambda t: 0.0 * t)
    found = course(heard, lawful(), glide_since(0.0, lawful(), heard), 1.0)
    first = true.fundamental * np.sqrt(1.0 + true.inharmonicity)
    assert abs(np.log(found.hertz / first)) / CENT < 0.02
    assert found.found.inharmonicity == pytest.approx(1.5e-4, rel=0.05)
    assert abs(found.slope) < 0.2
    assert found.cycles(found.time - np.array([0.3, 0.2])).shape == (2, 8)


def test_a_glide_is_told_where_it_is_now():
    glide = lambda t: 9.0 * np.exp(-4.0 * t)  # noqa: E731
    heard = phases(lawful(), glide, decay=2.0)
    found = course(heard, lawful(), glide_since(0.0, lawful(), heard), 1.0)
    true = 110.0 * np.sqrt(1.0 + 1e-4) * np.exp(CENT * glide(1.0))
    assert abs(np.log(found.hertz / true)) / CENT < 2.0 * found.sd
    assert found.slope == pytest.approx(-36.0 * np.exp(-4.0), abs=0.2)
    assert abs(np.log(found.settled / lawful().hertz[0])) / CENT < 2.0 * found.settled_sd
    assert found.left == pytest.approx(glide(1.0), abs=2.0 * found.left_sd)
    assert found.rise(0.5) == pytest.approx(glide(0.5) - glide(1.0), abs=0.05)


def test_a_turn_is_told_where_it_is_now():
    turn = lambda t: 80.0 * np.maximum(t - 0.6, 0.0)  # noqa: E731
    heard = phases(lawful(), turn)
    late = heard.times > 0.64
    some = Heard(heard.times[late], heard.cycles[late], heard.amplitude[late], heard.noise)
    found = course(some, lawful(), bends_before(1.0, 0.36, 0.04), 1.0)
    true = 110.0 * np.sqrt(1.0 + 1e-4) * np.exp(CENT * 32.0)
    assert abs(np.log(found.hertz / true)) / CENT < 0.1
    assert found.slope == pytest.approx(80.0, abs=2.0)
    assert found.rise(0.8) == pytest.approx(-16.0, abs=0.5)


@pytest.mark.parametrize(
    "shapes", [glide_since(0.2, String(np.arange(1.0, 9.0), 110.0, 1e-4)), bends_before(1.0, 0.3, 0.1)]
)
def test_leads_are_the_integrals_of_rises(shapes: Shapes):
    times, step = np.array([0.75, 0.83, 0.98]), 1e-5
    slope = (shapes.leads(times + step) - shapes.leads(times - step)) / (2.0 * step)
    assert slope == pytest.approx(np.array([shapes.rises(float(t)) for t in times]), abs=1e-4)


def test_a_departing_partial_is_not_taken_for_the_law():
    """The first partial 4 cents below what all others say: told as it is heard."""
    one = lawful()
    heard = phases(one, lambda t: 0.0 * t)
    heard.cycles[:, 0] = one.hertz[0] * np.exp(-4.0 * CENT) * heard.times
    found = course(heard, one, glide_since(0.0, lawful()), 1.0)
    assert np.log(found.hertz / one.hertz[0]) / CENT == pytest.approx(-4.0, abs=0.1)


@pytest.mark.parametrize("rate", [7999.0, 192001.0, float("nan")])
def test_rates_that_cannot_be(rate):
    with pytest.raises(InputError, match="8000 to 192000 Hz"):
        Live(rate)


@pytest.mark.parametrize("tuning", [(110.0, 5.0), (110.0, float("nan")), ((110.0,), (82.0,))])
def test_tunings_that_cannot_be(tuning):
    with pytest.raises(InputError, match="25 to 1600 Hz"):
        Live(RATE, tuning)


@pytest.mark.parametrize("block", [np.zeros((4, 2)), np.array([0.0, np.nan])])
def test_blocks_that_cannot_be(block):
    with pytest.raises(InputError, match="one row of finite samples"):
        Live(RATE).push(block)


def test_too_little_sound_has_no_reading():
    live = Live(48000.0)
    assert live.push(np.zeros(0)) is None
    assert live.push(np.zeros(40)) is None
    one = live.push(np.zeros(1024))
    assert one is not None
    assert (one.state, one.hertz, one.sd, one.string) == ("quiet", None, None, None)
    assert one.level == pytest.approx(-120.0)


def test_states_of_a_note_and_its_pitch():
    samples = after_silence(np.concatenate([string(110.0, 1.5), np.zeros(4000)]))
    got = pushed(Live(RATE, GUITAR), samples)
    states = [one.state for one in got]
    order = [state for k, state in enumerate(states) if k == 0 or states[k - 1] != state]
    assert order == ["quiet", "attack", "ringing", "quiet"]
    rings = [one for one in got if one.state == "ringing" and one.time < 1.7]
    assert all(one.string == 5 and one.doubt is None for one in rings)
    assert rings[0].ringing == pytest.approx(rings[0].time - 0.2, abs=0.02)
    assert abs(np.log(rings[-1].hertz / 110.0)) / CENT < 0.05
    assert rings[-1].sd < rings[0].sd


def test_readings_do_not_depend_on_the_blocks():
    samples = after_silence(string(82.41, 0.8))
    blocks = (64, 1000, len(samples))
    ends = [pushed(Live(RATE, GUITAR), samples[: len(samples) // 320 * 320], block)[-1] for block in blocks]
    assert [one.time for one in ends] == pytest.approx([ends[0].time] * 3)
    assert [one.hertz for one in ends] == pytest.approx(
        [ends[0].hertz] * 3, rel=5e-6
    )  # the constant part goes by the block


@pytest.mark.parametrize(
    ("hertz", "number", "doubt"),
    [
        (110.0, 5, None),
        (95.5, 5, "it may be string 6 as well"),
        (94.5, 6, "it may be string 5 as well"),
        (500.0, None, "no open string lies within 350 cents"),
    ],
)
def test_strings_are_named(hertz, number, doubt):
    last = pushed(Live(RATE, GUITAR), after_silence(string(hertz, 0.5)))[-1]
    assert (last.string, last.doubt) == (number, doubt)


def test_a_string_far_below_the_tuning():
    """A first look too short for it; told all the same, a little later, and not named."""
    got = [one for one in pushed(Live(RATE, (330.0, 247.0)), after_silence(string(45.0, 1.0))) if one.hertz is not None]
    assert abs(np.log(got[-1].hertz / 45.0)) / CENT < 0.5
    assert got[-1].string is None
    assert got[-1].doubt == "no open string lies within 350 cents"


def test_sound_right_after_the_start():
    """Sixteen milliseconds of silence are enough to tell an onset, and no noise is known from before."""
    got = [one for one in pushed(Live(RATE, GUITAR), after_silence(string(110.0, 0.5), silence=0.018)) if one.hertz]
    assert abs(np.log(got[-1].hertz / 110.0)) / CENT < 0.1


def test_one_string_alone_and_none():
    samples = after_silence(string(120.0, 0.4))
    assert pushed(Live(RATE, (110.0,)), samples)[-1].string == 1
    assert pushed(Live(RATE), samples)[-1].string is None


def test_bursts_of_noise_are_no_notes_for_long():
    """Some look like a string for a few tenths of a second; none to the end, and each is refused at some time."""
    for seed in range(8):
        noise = hiss(4000, 0.2, seed) * np.exp(-np.arange(4000) / 800.0)
        got = pushed(Live(RATE), after_silence(np.concatenate([noise, hiss(4000, 1e-4)])))
        assert all(one.hertz is None for one in got if one.time > 0.75)
        assert {room.FITS_NONE, room.NO_TONE} & {one.refused for one in got}
        assert got[-1].state == "quiet"


def test_a_string_struck_again_while_its_peg_is_turned_keeps_its_name():
    """A turned up by 2.5 semitones, struck again there; and then another string."""
    up = lambda t: 250.0 * np.clip(t - 0.5, 0.0, 1.0)  # noqa: E731
    first = string(110.0, 2.0, loss=0.3, cents=up)
    high = 110.0 * np.exp(CENT * 250.0)
    again, other = 3.0 * string(high, 1.0), 12.0 * string(196.0, 0.6)
    live = Live(RATE, GUITAR)
    got = pushed(live, after_silence(np.concatenate([first, again, other])))
    named = [(one.time, one.string) for one in got if one.hertz is not None]
    assert {name for time, name in named if time < 3.1} == {5}
    assert {name for time, name in named if time > 3.4} == {3}
    moving = [one.time - 0.2 for one in got if one.state == "moving"]
    assert 0.5 < min(moving) < 0.75
    assert 1.5 < max(moving) < 1.9


def test_a_first_look_that_was_wrong_is_mended(monkeypatch):
    """Taken for an octave too high at first: put right a quarter of a second after the onset, name and all."""
    looks = []

    def wrong_once(samples, rate, about=None):
        looks.append(about)
        look = first_look(samples, rate, about)
        if len(looks) > 1 or look is None:
            return look
        high = String(look.string.numbers[:5], 2.0 * look.string.fundamental, look.string.inharmonicity)
        return room.Look(high, look.share, look.noise)

    monkeypatch.setattr(room, "first_look", wrong_once)
    got = pushed(Live(RATE, (220.0, 110.0)), after_silence(string(110.0, 0.8)))
    rings = [one for one in got if one.hertz is not None]
    assert rings[0].hertz == pytest.approx(220.0, rel=0.01)
    assert rings[0].string == 1
    assert rings[-1].hertz == pytest.approx(110.0, rel=1e-4)
    assert rings[-1].string == 2


def test_a_pitch_known_too_badly_is_not_told(monkeypatch):
    monkeypatch.setattr(room, "WIDEST", 1e-4)
    last = pushed(Live(RATE, GUITAR), after_silence(string(110.0, 0.5)))[-1]
    assert last.hertz is None
    assert last.refused == "its pitch is known to 0 cents only"


def test_a_pitch_that_jumps_is_looked_for_anew(monkeypatch):
    """Where the pitch found is no longer the one followed, the same sound is looked at again."""
    monkeypatch.setattr(room, "LOST", 1e-3)
    jump = lambda t: 20.0 * np.clip((t - 0.5) / 0.1, 0.0, 1.0)  # noqa: E731
    got = pushed(Live(RATE, GUITAR), after_silence(string(110.0, 1.2, loss=0.3, cents=jump)))
    assert "attack" in {one.state for one in got if 0.7 < one.time < 1.2}
    assert abs(np.log(got[-1].hertz / 110.0) / CENT - 20.0) < 1.0
    assert got[-1].string == 5


def test_noise_of_a_slow_fit():
    """Windows four times in their length, Hann squared: 1.944 bins wide (Harris, Proc. IEEE 66, 51, 1978,
    from memory)."""
    window = np.hanning(4002)[1:-1] ** 2
    wide = len(window) * (window**2).sum() / window.sum() ** 2
    assert pytest.approx(4.0 / wide, rel=1e-3) == SLOW


@pytest.mark.parametrize("share", [0.0, -0.2])
def test_peaks_of_which_a_string_would_leave_more_out_than_it_explains_are_none(monkeypatch, share):
    monkeypatch.setattr(live_sound, "coarse_pitch", lambda *_: Coarse(220.0, 0.0, share, 0.0))
    assert first_look(string(220.0, 0.2), RATE) is None
