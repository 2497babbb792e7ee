"""The cents map of a take and the octave check, on notes whose frequencies follow from their cents by the formula.

Cents = 1200 log2 of the ratio of two first partials. A stiff string's second partial stands 600 log2((1 + 4 B) /
(1 + B)) cents above the octave of its first (Fletcher 1964). A saddle set back by d flattens the note at fret 12, of
half the length, by 1200 / ln 2 d / L against the open string, to first order (worked by hand: the open string of length
L + d is brought back to pitch, the held one is (L / 2 + d) long).
"""

import math
import shutil
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from setwright.bench.heard_notes import heard_map, heard_map_of, read_with_heard, with_heard
from setwright.bench.journals import keep
from setwright.bench.next_step import next_for
from setwright.bench.notes import notes_of
from setwright.instrument.jobfile import read_job
from setwright.instrument.quantities import amount
from setwright.listening.notes import Note
from setwright.listening.takes import Heard
from setwright.records.journal_text import parse

EXAMPLES = Path(__file__).parents[2] / "examples"
WHEN = datetime(2026, 11, 30, 9, 0)
OPEN = {1: 329.628, 2: 246.942, 3: 195.998, 4: 146.832, 5: 110.0, 6: 82.407}
B = 1.2e-4


def heard(string, fret=0, cents=0.0, kind=None, sd=0.02, at=0.0, doubt=""):
    hertz = OPEN[string] * 2.0 ** (fret / 12.0 + cents / 1200.0)
    note = Note(at, at + 2.0, first_partial=hertz, first_partial_sd=sd, inharmonicity=B)
    return Heard(note, string, fret, kind or ("fretted" if fret else "open"), doubt)


def entries(*lines):
    return [replace(parse(*line.split(maxsplit=1), WHEN, sure=True), number=i) for i, line in enumerate(lines, 1)]


@pytest.fixture(scope="module")
def kestrel():
    return read_job(EXAMPLES / "kestrel-float.job.toml")


def test_every_note_is_compared_with_the_open_string_before_it():
    take = [
        heard(5, 12, 3.0, at=0.0), heard(5, at=1.0), heard(5, 7, -1.5, at=2.0), heard(5, cents=-8.0, at=3.0),
        heard(5, 12, -4.0, at=4.0), heard(4, 12, 2.0, at=5.0),
    ]  # fmt: skip
    got = heard_map(take).intervals
    assert [(one.string, one.fret, one.at) for one in got] == [(5, 12, 0.0), (5, 7, 2.0), (5, 12, 4.0)]
    assert [one.off.value for one in got] == pytest.approx([3.0, -1.5, 4.0], abs=1e-9)
    assert all(0.9 < one.off.half_width < 1.1 for one in got)  # a finger, the notes themselves are much surer


def test_a_harmonic_is_held_against_what_stiffness_makes_of_it():
    second = 600.0 * math.log2((1.0 + 4.0 * B) / (1.0 + B))
    got = heard_map([heard(5), heard(5, 12, second, "harmonic")]).intervals[0]
    assert got.by_stiffness == pytest.approx(second, rel=1e-9)
    assert got.off.value == pytest.approx(got.by_stiffness, abs=1e-9)
    assert got.off.half_width == pytest.approx(1.96 * math.hypot(0.02, 0.02))
    assert got.verdict == ""


@pytest.mark.parametrize(
    ("cents", "said"), [(0.0, "inside"), (0.9, "inside"), (-2.5, "cannot be told"), (3.2, "outside"), (-3.2, "outside")]
)
def test_a_held_note_is_judged_by_the_tolerance_and_its_own_uncertainty(cents, said):
    assert heard_map([heard(3), heard(3, 12, cents)]).intervals[0].verdict == said


def test_the_target_moves_the_verdict_and_a_doubtful_note_has_none():
    take = [heard(3), heard(3, 12, 3.2), heard(3, 12, 3.2, doubt="string 3 held at fret 12 or its harmonic there")]
    got = heard_map(take, target=3.0, tolerance=1.5, asked=True)
    assert [one.verdict for one in got.intervals] == ["inside", ""]
    assert got.asked


@pytest.mark.parametrize(("cents", "told"), [(0.4, False), (-0.9, False), (1.6, True), (-6.0, True)])
def test_held_note_and_harmonic_are_told_apart_only_where_they_can_be(cents, told):
    apart = heard_map([heard(6), heard(6, 12, 0.3, "harmonic"), heard(6, 12, 0.3 + cents)]).apart
    assert [(one.string, one.told) for one in apart] == [(6, told)]
    assert apart[0].cents.value == pytest.approx(cents, abs=1e-9)


def test_the_saddle_moves_by_the_error_over_its_derivative(kestrel):
    take = [heard(4), heard(4, 12, 5.6), heard(3), heard(3, 12, -3.0), heard(2), heard(2, 12, 0.2)]
    saddles = {one.string: one for one in heard_map_of(kestrel, take).saddles}
    scale = 25.5 * 25.4e-3  # m, examples/kestrel.instrument.toml
    by_hand = 1200.0 / math.log(2.0) / scale  # cents per metre
    for string, cents, way in ((4, 5.6, "back"), (3, -3.0, "forward")):
        one = saddles[string]
        assert one.per_metre == pytest.approx(-by_hand, rel=0.03)
        assert one.move.value == pytest.approx(cents / by_hand, rel=0.03)
        assert (one.way, one.sure, one.enough) == (way, True, True)
        assert one.move.half_width == pytest.approx(one.error.half_width / by_hand, rel=0.03)
    assert saddles[2].way == "stay"
    ratio = saddles[4].turns.value / saddles[4].move.value
    assert ratio == pytest.approx(saddles[3].turns.value / saddles[3].move.value)
    assert 1.0 / ratio == pytest.approx(0.794e-3, rel=0.01)  # 32 threads an inch, what the instrument file names


def test_where_the_saddle_stands_by_now_counts_for_its_travel(kestrel):
    take = [heard(4), heard(4, 12, 5.6)]
    assert heard_map_of(kestrel, take).saddles[0].enough
    turned = entries("did saddle length string 4 back 9 turns", "did saddle length string 3 back 1 turn")
    one = heard_map_of(kestrel, take, turned).saddles[0]
    assert not one.enough
    assert one.missing > 0.0
    assert one.remedies[0] == "new string"


def test_what_the_job_asks_for_is_aimed_at(kestrel):
    job = replace(kestrel, want=replace(kestrel.want, octave=amount("2 c ± 1 c", "cents")))
    got = heard_map_of(job, [heard(5), heard(5, 12, 2.1)])
    assert (got.target, got.tolerance, got.asked) == (2.0, 1.0, True)
    assert got.saddles[0].way == "stay"


def test_a_job_that_contradicts_itself_keeps_its_map_and_says_why_there_is_no_saddle(kestrel):
    take = [heard(5), heard(5, 12, 2.1)]
    tuning = tuple(replace(one, si=2.0 * one.si) for one in kestrel.found.tuning)  # no string bears that
    got = heard_map_of(replace(kestrel, found=replace(kestrel.found, tuning=tuning)), take)
    assert len(got.intervals) == 1
    assert got.saddles == ()
    assert "read claw distance, spring count and tuning again" in got.silent


LINES = (
    "read pitch string 5 = 110.00 Hz ± 0.05 c",
    "read pitch string 5 harmonic at fret 12 = 220.03 Hz ± 0.05 c",
    f"read pitch string 5 at fret 12 = {220.0 * 2 ** (5 / 1200):.5f} Hz ± 0.05 c",
    "read pitch string 4 = 146.832 Hz ± 0.05 c",
    f"read pitch string 4 at fret 12 = {293.664 * 2 ** (-3 / 1200):.5f} Hz ± 0.05 c",
    "read octave error string 3 = -2 c ± 0.3 c",
    "read pitch string 2 at fret 12 = 494 Hz",
    "read pitch string 1 = 3 c",
)


def test_octaves_heard_as_found_become_those_of_the_job(kestrel):
    job, said = with_heard(kestrel, entries(*LINES))
    octave = job.found.octave
    assert [one.si for one in octave] == pytest.approx([0.0, 0.0, -2.0, -3.0, 5.0, 0.0], abs=0.01)
    assert [one.band for one in octave] == pytest.approx([3.0, 3.0, 0.583, 0.505, 0.505, 3.0], abs=0.01)
    assert "strings 3 to 5, by the journal" in said[0]
    assert "Of strings 1, 2 and 6 none was heard" in said[0]
    assert with_heard(job, entries(*LINES)) == (job, ())
    assert with_heard(kestrel, entries(LINES[0])) == (kestrel, ())


@pytest.mark.parametrize(
    "did", ["saddle length string 5 back 1 turn", "claw out 1 turn", "strip shim in .020 in", "step neck off"]
)
def test_what_was_heard_after_something_was_turned_is_not_as_found(kestrel, did):
    assert with_heard(kestrel, entries(f"did {did}", *LINES)) == (kestrel, ())
    assert (
        with_heard(kestrel, entries(*LINES, f"did {did}", LINES[0], LINES[2].replace("= 2", "= 23")))[0]
        == (with_heard(kestrel, entries(*LINES))[0])
    )


def test_a_string_tuned_in_between_is_heard_open_again_first(kestrel):
    lines = (LINES[0], "did tune string 5 to 111 Hz", LINES[2])
    assert with_heard(kestrel, entries(*lines)) == (kestrel, ())


def test_only_an_open_string_of_the_same_recording_is_compared(kestrel):
    def of(line, letter):
        return f'{line}, recorded "{letter}.wav" sha256 {letter * 64}'

    def octave(*lines):
        found = with_heard(kestrel, entries(*lines))[0].found.octave
        return None if found is None else found[4].si

    flat = LINES[0].replace("110.00", "109.50")
    assert octave(of(LINES[0], "a"), of(flat, "b"), of(LINES[2], "a")) == pytest.approx(5.0, abs=0.01)
    assert octave(of(LINES[2], "a"), of(LINES[0], "a")) == pytest.approx(5.0, abs=0.01)
    assert octave(of(flat, "a"), of(LINES[0], "a"), of(LINES[2], "a"), of(flat, "a")) == pytest.approx(5.0, abs=0.01)
    assert octave(of(LINES[0], "a"), of(LINES[2], "b")) is None
    assert octave(LINES[0], of(LINES[2], "b")) is None


def test_repeats_count_together_and_their_scatter_too(kestrel):
    lines = [
        LINES[0],
        *(f"read pitch string 5 at fret 12 = {220 * 2 ** (c / 1200):.5f} Hz ± 0.05 c" for c in (3, 5, 7)),
    ]
    octave = with_heard(kestrel, entries(*lines))[0].found.octave[4]
    assert octave.si == pytest.approx(5.0, abs=0.01)
    assert octave.band == pytest.approx(2.0 / math.sqrt(3.0), abs=0.01)  # their own standard deviation is 2


def test_notes_and_the_saddles_of_the_plan_go_by_what_was_heard(kestrel, tmp_path):
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    path = str(tmp_path / "kestrel-float.job.toml")
    assert read_with_heard(path) == (read_job(path), ())
    for line in LINES[:6]:
        keep(path, line.split(), sure=True)
    job, said = read_with_heard(path)
    assert said
    octave = notes_of(job, samples=32).states[0].octave
    assert [octave[i].error.value for i in (2, 3, 4)] == pytest.approx([-2.0, -3.0, 5.0], abs=0.1)
    assert (octave[3].way, octave[4].way) == ("forward", "back")
    done = entries(
        *LINES[:6], "did strip shim in .030 in", "did pivot up 2 turns", "did springs 3", "did step saddles"
    )  # fmt: skip
    step = next_for(kestrel, done)
    assert (step.kind, step.step.key) == ("hardware", "lengths")
    moved = {one.what: (one.way, one.value) for one in step.step.amounts}
    assert moved["string 5"][0] == "back"
    assert moved["string 4"][0] == "forward"
    assert any("by the journal" in one for one in step.remarks)
    unheard = next_for(kestrel, done[6:])
    assert unheard.kind == "balance"
