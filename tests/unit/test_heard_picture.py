"""The picture of a hearing: its pitch in time and its partials against sounds whose course is known, and the drawing.

Sounds are the practice instrument's (partials of known frequency and a known glide) or sums of sines made here.
"""

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from setwright.bench import heard_picture
from setwright.bench.heard_picture import Watched, picture
from setwright.bench.hearing import Hearing
from setwright.errors import InputError
from setwright.listening.notes import Note, measure
from setwright.listening.sound import Sound
from setwright.listening.takes import Heard
from setwright.practice.sound import play, truth
from setwright.practice.sound_faults import noisy
from setwright.practice.takes import GUITAR, string_at
from setwright.sheets.hearing import (
    PARTIALS,
    STEPS,
    TIMES,
    WIDTH,
    Bar,
    HearingSheet,
    NoteStrip,
    Trace,
    draw_hearing,
    nice,
)
from setwright.sheets.ink import ACCENT

pytestmark = pytest.mark.slow

SVG = "{http://www.w3.org/2000/svg}"
RATE = 16000.0
PLUCK = replace(string_at(GUITAR, 5, 0.0), rate=RATE, seconds=2.0, glide=6.0)


def watched(samples, start=0.0, rate=RATE):
    sound = Sound(samples, rate, start)
    note, eye = measure(sound), Watched()
    eye.look(note, sound)
    return note, eye.seen[0]


@pytest.fixture(scope="module")
def clean():
    return watched(play(PLUCK, 1), start=12.5)


def test_pitch_in_time_follows_the_glide_of_the_string(clean):
    note, strip = clean
    true = truth(PLUCK)
    trace = strip.trace
    assert trace.number == 1
    assert len(trace.times) > 12
    onset = note.start - 12.5  # s after the release
    own = 1200.0 * math.log2(true.first_partial / note.first_partial)
    expected = true.glide_at(np.array(trace.times) + onset) + own
    assert np.abs(np.array(trace.cents) - expected).max() < 0.06  # a window sees the mean over 0.12 s of a bent course
    assert np.abs(np.array(trace.glide) - expected).max() < 0.06
    assert trace.cents[0] > 4.0
    assert strip.used[0] == pytest.approx(note.used[0] - note.start)


def test_it_is_drawn_by_the_law_that_the_pitch_was_reported_by(clean):
    """The part used is followed once more for the picture; that must not come to another pitch."""
    note, _ = clean
    samples = play(PLUCK, 1)
    samples = (samples - samples.mean())[round((note.used[0] - 12.5) * RATE) : round((note.used[1] - 12.5) * RATE)]
    again = heard_picture._ringing(note, note.fundamental, samples, RATE)
    assert 1200.0 * math.log2(again.law.first / note.first_partial) == pytest.approx(0.0, abs=0.02)
    assert set(again.numbers.tolist()) <= set(note.partials)
    assert len(again.numbers) >= len(note.partials) - 2  # the faintest stand above the noise of one look only


@pytest.mark.slow
def test_its_band_holds_what_noise_does_to_it(clean):
    """Over many recordings the windows lie within 95 % bands of the clean course about as often as they say."""
    inside = total = 0
    for seed in range(6):
        _, strip = watched(noisy(play(PLUCK, 1), 15.0, seed))
        clean_cents = np.interp(strip.trace.times, clean[1].trace.times, clean[1].trace.cents)
        shift = np.median(np.array(strip.trace.cents) - clean_cents)  # each counts from the pitch of its own note
        off = np.abs(np.array(strip.trace.cents) - clean_cents - shift)
        inside += int((off < np.array(strip.trace.half)).sum())
        total += len(off)
        assert np.mean(strip.trace.half) > 3.0 * np.mean(clean[1].trace.half)
    assert 0.85 < inside / total <= 1.0
    assert np.mean(off / np.array(strip.trace.half)) > 0.15  # a band far too wide would hold all and say nothing


def sines(cents, seconds=1.6, noise=2e-4, loss=1.0, lowest=1):
    """Twelve partials of B = 1e-4 on 110 Hz, each off the law by some cents."""
    times = np.arange(round(seconds * RATE)) / RATE
    out = noise * np.random.default_rng(2).standard_normal(len(times))
    for n in range(lowest, 13):
        hertz = n * 110.0 * math.sqrt(1.0 + 1e-4 * n * n) * 2.0 ** (cents.get(n, 0.0) / 1200.0)
        out += 0.2 / n * np.exp(-times * (loss + 0.1 * n)) * np.sin(2.0 * math.pi * hertz * times + n)
    return out


@pytest.mark.slow
def test_partials_stand_off_the_law_by_what_they_were_moved():
    _, even = watched(sines({}))
    assert all(abs(bar.off) < bar.half + 0.01 for bar in even.bars)
    _, moved = watched(sines({5: 3.0}))
    bars = {bar.number: bar for bar in moved.bars}
    others = [bars[n].off for n in (3, 4, 6, 7)]
    assert bars[5].off - np.mean(others) == pytest.approx(3.0, abs=0.1)
    assert max(others) - min(others) < 0.15
    assert all(0.0 < bar.half < 0.2 for bar in moved.bars)


@pytest.mark.slow
def test_bars_of_a_noisy_recording_are_taller():
    """By the Cramer-Rao bound in proportion to the noise."""
    halves = [np.median([bar.half for bar in watched(sines({}, noise=level))[1].bars]) for level in (1e-3, 4e-3)]
    assert 2.5 < halves[1] / halves[0] < 6.0


def test_pitch_is_followed_as_long_as_it_stands_above_the_noise():
    sound, eye = Sound(sines({}, noise=1e-3, loss=5.0), RATE), Watched()
    eye.look(replace(measure(sound), used=(0.03, 1.6), end=1.6), sound)
    trace = eye.seen[0].trace
    assert 0.7 < trace.times[-1] < 1.4
    assert np.all(np.diff(trace.half) > 0.0)


def test_without_a_first_partial_the_lowest_one_is_followed():
    _, strip = watched(sines({}, lowest=2))
    assert strip.trace.number == 2
    assert np.abs(strip.trace.cents).max() < 0.1


def test_what_cannot_be_followed_again_shows_its_sound_alone(clean):
    note, _ = clean
    eye = Watched()
    eye.look(note, Sound(1e-3 * np.random.default_rng(1).standard_normal(32000), RATE, 12.5))
    assert (eye.seen[0].trace, len(eye.seen[0].times)) == (None, heard_picture.POINTS)


def test_what_was_not_measured_shows_its_sound_alone():
    eye = Watched()
    eye.look(Note(1.0, 1.1, refused="a knock, gone after 0.05 s"), Sound(sines({})[:800], RATE, 1.0))
    eye.look(Note(2.0, 2.1), Sound(np.zeros(0), RATE, 2.0))
    assert [(one.trace, one.bars) for one in eye.seen] == [(None, ()), (None, ())]
    assert 0.0 < eye.seen[0].times[0] < eye.seen[0].times[-1] < 0.05
    assert max(eye.seen[0].levels) == pytest.approx(20.0 * math.log10(np.abs(sines({})[:800]).max()), abs=0.3)
    assert eye.seen[1].times == ()


def text_of(svg):
    return " ".join(one.text for one in ET.fromstring(svg.encode()).iter(f"{SVG}text"))


def test_the_picture_says_in_words_what_it_shows(clean):
    note, strip = clean
    eye = Watched([strip, replace(strip), NoteStrip("", (), "", (0.0, 0.01), (-20.0, -30.0)), replace(strip)])
    notes = (
        Heard(note, 5, 0, "open"),
        Heard(replace(note, beating=-0.8), 5, 12, "harmonic", "string 5 held at fret 12 or its harmonic there"),
        Heard(Note(61.0, 61.05, refused="a knock, gone after 0.05 s"), None, None, None, "a knock"),
        Heard(replace(note, glide=None, partials=(), first_partial=20000.0), None, None, None),
    )
    hearing = Hearing("take <1>.wav", "", 75.0, 48000.0, 2, 2, notes)
    svg = picture(hearing, eye, 440.0, "Kestrel")
    said = text_of(svg)
    for part in (
        "take <1>.wav", "Kestrel. 4 notes in 75.0 s, 1 left out. Channel 2 of 2.", "0:12.5 string 5 open", "A2 ",
        f"{note.first_partial:.2f}"[:-1], "0:12.5 string 5 harmonic at 12", "1:01.0 left out",
        "a knock, gone after 0.05 s", "20000.0", "sharp by", "beats: two tones 0.8 c apart",
    ):  # fmt: skip
        assert part in " ".join(said.split()), part
    assert svg == picture(hearing, eye, 440.0, "Kestrel")
    alarms = [one.text for one in ET.fromstring(svg.encode()).iter(f"{SVG}text") if one.get("fill") == ACCENT]
    assert " ".join(alarms) == "string 5 held at fret 12 or its harmonic there a knock, gone after 0.05 s"


def test_only_so_many_notes_are_drawn(clean, monkeypatch):
    monkeypatch.setattr(heard_picture, "MOST", 2)
    note, strip = clean
    eye = Watched([strip, strip])
    eye.look(note, Sound(np.zeros(10), RATE))
    assert len(eye.seen) == 2
    hearing = Hearing("a.wav", "", 75.0, 48000.0, 1, 1, (Heard(note, None, None, None),) * 3)
    assert "The first 2 are drawn." in text_of(picture(hearing, eye, 440.0))
    with pytest.raises(InputError, match="no note to be drawn"):
        picture(replace(hearing, notes=()), Watched(), 440.0)


TIMES_OF = tuple(0.1 * i for i in range(10))
TRACE = Trace(1, TIMES_OF, tuple(3.0 * math.exp(-3.0 * t) for t in TIMES_OF), (0.3,) * 10, (0.5,) * 10, 0.1)
BARS = (Bar(1, 0.2, 0.1, True), Bar(2, -0.1, 0.2, True), Bar(3, 9.0, 0.2, False), Bar(4, -14.0, 0.2, False),
        Bar(5, 0.25, 0.1, False), Bar(31, 0.0, 0.3, True))  # fmt: skip
STRIP = NoteStrip("0:01.0  string 5 open", ("A2",), "", TIMES_OF, (-6.0,) * 10, (0.1, 0.8), TRACE, BARS, 0.1)


def test_strips_are_well_formed_and_inside_the_paper():
    svg = draw_hearing(HearingSheet("T&T", "all", (STRIP, replace(STRIP, trace=replace(TRACE, number=3)))))
    root = ET.fromstring(svg.encode())
    assert {one.tag.removeprefix(SVG) for one in root.iter()} <= {
        "svg",
        "title",
        "desc",
        "style",
        "rect",
        "text",
        "path",
    }
    high = float(root.get("viewBox").split()[3])
    for one in root.iter(f"{SVG}path"):
        for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", one.get("d")):
            assert 0.0 <= float(x) <= WIDTH
            assert 0.0 <= float(y) <= high
    said = text_of(svg)
    for part in ("+9.0", "−14.0", "31", "partial 3", "+0.2 c", "0.5"):
        assert part in said


def test_a_band_twice_as_unsure_is_drawn_twice_as_wide():
    def tall(half):
        bars = (Bar(1, 0.0, half, True), Bar(2, 0.0, 1.0, True), Bar(3, 0.0, 1.0, True), Bar(4, 0.0, 1.0, True))
        svg = draw_hearing(HearingSheet("T", "all", (replace(STRIP, bars=bars, apart=0.0),)))
        boxes = [one.get("d") for one in ET.fromstring(svg.encode()).iter(f"{SVG}path") if one.get("d").endswith("Z")]
        corners = [[tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", d)] for d in boxes]
        first = next(c for c in corners if len(c) == 4 and PARTIALS[0] < c[0][0] < PARTIALS[0] + 6.0)
        return abs(first[0][1] - first[2][1])

    assert tall(0.5) == pytest.approx(2.0 * tall(0.25), abs=0.03)


def test_time_is_to_scale_and_the_used_part_is_marked():
    svg = draw_hearing(HearingSheet("T", "all", (STRIP,)))
    ends = TIMES[0] + (TIMES[1] - TIMES[0]) * np.array([0.1, 0.8]) / 0.9
    for x in ends:
        assert f"M{x:.2f}".rstrip("0") in svg


@pytest.mark.parametrize(
    "changes", [{"levels": (math.nan,) * 10}, {"bars": (Bar(1, math.inf, 0.1, True), *BARS)}], ids=["level", "partial"]
)
def test_what_is_not_finite_is_refused(changes):
    with pytest.raises(InputError, match="finite"):
        draw_hearing(HearingSheet("T", "all", (replace(STRIP, **changes),)))


@pytest.mark.parametrize(("reach", "step"), [(0.0, STEPS[0]), (0.07, 0.05), (1.0, 1.0), (19.0, 10.0), (1e4, STEPS[-1])])
def test_scales_go_by_round_steps(reach, step):
    assert nice(reach) == step


def test_a_long_reason_is_broken_and_cut_to_the_strip():
    long = NoteStrip("0:01.0  left out", (), "word " * 60, TIMES_OF, (-6.0,) * 10)
    lines = [
        one for one in ET.fromstring(draw_hearing(HearingSheet("T", "all", (long,))).encode()).iter(f"{SVG}text")
        if one.get("fill") == ACCENT
    ]  # fmt: skip
    assert 2 <= len(lines) <= 4
    assert lines[-1].text.endswith("…")
