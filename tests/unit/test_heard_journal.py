"""What is heard goes into the work: takes of the practice instrument at its true pitches, then the next step by them.

The sound is made by the practice instrument's own forward model, which the listening rooms do not know.
"""

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from setwright.bench.guided import told
from setwright.bench.heard_picture import Watched
from setwright.bench.hearing import entries_of, hear, hear_job, in_order, not_heard_yet, write_down
from setwright.bench.journals import open_journal
from setwright.bench.learned import reported
from setwright.bench.next_step import balanced, next_of
from setwright.bench.replay import Start, replayed
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job
from setwright.instrument.told import believed
from setwright.listening.notes import Note
from setwright.planning.course import HEARD
from setwright.practice.instrument import Practice
from setwright.practice.takes import BASS, GUITAR, Played, string_at, take
from setwright.practice.told import hello
from setwright.records.entries import live
from setwright.records.journal import from_bytes
from setwright.records.journal_text import line_of, parse
from tests.cli.midway import job_midway

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[2] / "examples"
WHEN = datetime(2026, 11, 30, 9, 0)
RATE = 8000.0
OCTAVE = Note(0.5, 1.9, (0.53, 1.9), 82.4, 0.02, partials=(1, 2, 3))


def sounded(path, hertz, order=(6, 5, 4, 3, 2, 1), seconds=0.9, rate=RATE):
    """A take of open strings at given first partials, from string 1, with somebody talking in between."""
    items = []
    for number in order:
        _, stiff = GUITAR[number - 1]
        pluck = replace(
            string_at(GUITAR, number, 0.0), fundamental=hertz[number - 1] / np.sqrt(1.0 + stiff), seconds=seconds
        )  # fmt: skip
        items.append(Played("open", 0.4, pluck, number, 0.0))
    items.insert(2, Played("talk", 0.4, seconds=0.5))
    samples, _ = take(items, rate, 5)
    soundfile.write(path, samples, int(rate), subtype="PCM_24")
    return str(path)


def typed(entries, *lines):
    """Entries as a journal gives them back."""
    text = "".join(f"{line_of(replace(one, number=n))}\n" for n, one in enumerate(entries, 1))
    more = [parse(*line.split(maxsplit=1), WHEN) for line in lines]
    text += "".join(f"{line_of(replace(one, number=len(entries) + n))}\n" for n, one in enumerate(more, 1))
    return live(from_bytes(text.encode(), "j").entries)


def off(hertz, from_):
    return 1200.0 * np.log2(np.asarray(hertz) / np.asarray(from_))


@pytest.fixture(scope="module")
def practised(tmp_path_factory):
    """A practice instrument as it is handed over, heard."""
    first = hello(0)
    job, on = told(first), Practice(first, 0)
    for string, hertz in ((3, 198.0), (5, 109.0)):
        on.tune(string, hertz)
    gap = f"read rear gap = {on.gap() * 1e3:.3f} mm ± {job.gap_sd * 1e3:.3f} mm sure"
    path = sounded(tmp_path_factory.mktemp("heard") / "take.wav", on.truth.hertz)
    hearing = hear(path, job.goal.hertz.tolist(), played=("open",))
    start = Start(job.traits, believed(job.traits), job.settings, job.goal, job.knife)
    return job, on, hearing, start, gap


def test_true_pitches_come_through_the_take_within_what_they_are_said_to_be_sure_of(practised):
    _, on, hearing, _, _ = practised
    good = [one for one in hearing.notes if one.string]
    assert [one.string for one in good] == [6, 5, 4, 3, 2, 1]
    for one in good:
        error = float(off(one.note.first_partial, on.truth.hertz[one.string - 1]))
        assert abs(error) < max(4.0 * one.note.first_partial_sd, 0.02)


def test_the_next_step_uses_what_was_heard_as_if_it_had_been_typed_with_its_uncertainty(practised):
    job, on, hearing, start, gap = practised
    entries = typed(entries_of(hearing, WHEN, "Ada"), gap)
    heard = balanced(replayed(start, entries))
    assert heard.advice.do != "read"
    truth = off(on.truth.hertz, job.goal.hertz)
    assert np.all(np.abs(np.array(heard.standing.cents) - truth) < 4.0 * np.array(heard.standing.cents_sd))
    good = [(one.string, one.note.first_partial, one.note.first_partial_sd) for one in hearing.notes if one.string]
    by_hand = [f"read pitch string {s} = {hz:.4f} Hz ± {max(sd, 1e-3):.3f} c" for s, hz, sd in good]
    as_typed = balanced(replayed(start, typed((), *by_hand, gap)))
    assert str(as_typed.advice) == str(heard.advice)
    assert as_typed.standing == heard.standing


def test_a_heard_pitch_is_believed_within_its_own_uncertainty_and_what_the_model_leaves_out(practised):
    _, _, hearing, start, gap = practised
    balance = replayed(start, typed(entries_of(hearing, WHEN), gap))
    sure = {one.string: one.note.first_partial_sd for one in hearing.notes if one.string}
    seen = [one for scene in balance.course.picture.scenes for one in scene.seen if one.kind == "pitch"]
    assert {one.string for one in seen} == set(range(6))
    for one in seen:
        assert one.sd == pytest.approx(np.hypot(sure[one.string + 1], HEARD), rel=1e-2)
    coarse = tuple(
        replace(one, note=replace(one.note, first_partial_sd=2.0)) if one.string else one for one in hearing.notes
    )
    worse = replayed(start, typed(entries_of(replace(hearing, notes=coarse), WHEN), gap))
    assert max(balanced(worse).standing.cents_sd) > 2.0 * max(balanced(balance).standing.cents_sd)


def test_what_was_learned_counts_heard_readings(practised):
    _, _, hearing, start, gap = practised
    report = reported(replayed(start, typed(entries_of(hearing, WHEN), gap)))
    assert report.learned.figures
    assert any(one.after_sd < one.before_sd for one in report.learned.figures if one.after_sd and one.before_sd)


@pytest.mark.slow
def test_in_the_middle_of_the_work_strings_are_known_by_where_the_journal_has_them(tmp_path):
    """Strings 300 cents flat would pass for other strings' frets; the journal knows better."""
    job = job_midway(tmp_path)
    read, (_, kept) = read_job(str(job)), open_journal(str(job))
    before = next_of(str(job))[1].standing
    wanted = [one.si for one in read.want.tuning]
    hertz = [w * 2.0 ** ((c + 4.0) / 1200.0) for w, c in zip(wanted, before.cents, strict=True)]
    path = sounded(tmp_path / "take.wav", hertz)
    blind = hear(path, wanted, read.instrument.frets)
    assert [one.string for one in blind.notes if one.string and not one.doubt] != [6, 5, 4, 3, 2, 1]
    result = hear_job(read, path, entries=live(kept.entries))
    assert [(one.string, one.kind, one.doubt) for one in result.notes if not one.note.refused] == [
        (s, "open", "") for s in (6, 5, 4, 3, 2, 1)
    ]
    assert "where the journal has them" in result.remarks[0]
    assert len(write_down(result, str(job)).entries) == 6
    after = next_of(str(job))[1].standing
    moved = np.array(after.cents) - np.array(before.cents)
    assert np.all((moved > 1.5) & (moved < 4.5))  # what was read before is not forgotten
    with pytest.raises(InputError, match=r"take\.wav is in kestrel-float\.journal\.txt already"):
        not_heard_yet(path, str(job))
    not_heard_yet(str(tmp_path / "none.wav"), str(job))


@pytest.mark.slow
def test_without_a_floating_plate_strings_stand_where_they_were_last_heard(tmp_path):
    job = read_job(EXAMPLES / "wigeon-reradius.job.toml")
    flat = [one.si * 2.0 ** (-2.3 / 12.0) for one in job.want.tuning]
    path = sounded(tmp_path / "take.wav", flat, (6, 5, 4))
    lines = [f"read pitch string {s} = {flat[s - 1]:.2f} Hz" for s in (5, 4)]
    entries = typed((), *lines, f"did tune string 6 to 80 Hz, heard {flat[5]:.2f} Hz", "read pitch string 1 = -3 c")
    heard = hear_job(job, path, entries=entries)
    assert [one.string for one in heard.notes if one.string] == [6, 5, 4]
    assert "where the journal has them" in heard.remarks[0]
    double = tuple(replace(one, si=2.0 * one.si) for one in job.found.tuning)  # no string bears that
    broken = replace(job, found=replace(job.found, tuning=double))
    assert [one.string for one in hear_job(broken, path, entries=entries).notes if one.string] != [6, 5, 4]


@pytest.mark.slow
def test_strings_at_whatever_pitch_are_known_by_the_order_they_were_played_in(tmp_path):
    job = EXAMPLES / "kestrel-float.job.toml"
    hertz = [
        one.si * 2.0 ** (c / 1200.0)
        for one, c in zip(read_job(job).want.tuning, (-290, -260, -310, -400, -333, -512), strict=True)
    ]
    path = sounded(tmp_path / "take.wav", hertz, (6, 5, 5, 4, 3, 2, 1))
    result = hear_job(read_job(job), path, order=(6, 5, 4, 3, 2, 1))
    good = [one for one in result.notes if one.string]
    assert [one.string for one in good] == [6, 5, 5, 4, 3, 2, 1]
    for one in good:
        assert abs(off(one.note.first_partial, hertz[one.string - 1])) < 0.1
    with pytest.raises(InputError, match=r"names 5 strings, but 6 different notes .* were heard: 61\.3 Hz at 0\.4 s"):
        hear_job(read_job(job), path, order=(6, 5, 4, 3, 2))


@pytest.mark.parametrize(("order", "words"), [((7,), "no string 7"), ((0,), "no string 0"), ((6, 5), "1 different")])
def test_orders_that_cannot_be(order, words):
    note = Note(0.0, 1.0, first_partial=82.0)
    with pytest.raises(InputError, match=words):
        in_order([note, replace(note, refused="a knock"), note], order, 6)
    with pytest.raises(InputError, match="0 different notes one after another were heard; name"):
        in_order([], (1,), 6)


@pytest.mark.slow
def test_a_low_string_is_found_by_the_tuning_where_it_was_not_by_itself(tmp_path):
    """Practice take of a bass: its lowest string, at 48 kHz with little noise, is missed without being told of it."""
    pluck = replace(string_at(BASS, 4, 0.0, 2.0), seconds=1.4)
    samples, events = take([Played("open", 0.5, pluck, 4, 0.0)], 48000.0, 3)
    samples += 2e-5 * np.random.default_rng(0).standard_normal(len(samples))
    soundfile.write(tmp_path / "a.wav", samples, 48000, subtype="PCM_24")
    eye = Watched()
    told = hear(str(tmp_path / "a.wav"), [hz for hz, _ in BASS], 20, look=eye.look)
    good = [(i, one) for i, one in enumerate(told.notes) if one.note.refused is None]
    assert [(one.string, one.kind) for _, one in good] == [(4, "open")]
    note = good[0][1].note
    assert abs(off(note.first_partial, events[0].truth.first_partial)) < 4.0 * note.first_partial_sd
    assert eye.seen[good[0][0]].trace is not None
    blind = [one.note for one in hear(str(tmp_path / "a.wav")).notes if one.note.refused is None]
    assert all(abs(off(one.first_partial, note.first_partial)) < 0.5 for one in blind)  # missed, or the same


@pytest.mark.parametrize(
    ("blind", "told", "kept"),
    [
        (replace(OCTAVE, first_partial=164.9), replace(OCTAVE, first_partial=82.4, partials=tuple(range(1, 15))), 82.4),
        (replace(OCTAVE, first_partial=164.9), replace(OCTAVE, first_partial=82.4, partials=(2, 3, 4, 6, 8, 9)), 164.9),
        (replace(OCTAVE, first_partial=164.9), replace(OCTAVE, refused="no string"), 164.9),
        (replace(OCTAVE, first_partial=110.2), replace(OCTAVE, first_partial=82.4, partials=(1, 5, 7)), 110.2),
        (replace(OCTAVE, refused="fits no string"), replace(OCTAVE, first_partial=82.4, partials=(2, 4)), 82.4),
    ],
    ids=["an octave high", "a harmonic", "nothing there", "another fret", "missed"],
)
def test_a_low_string_is_not_taken_for_its_octave(tmp_path, monkeypatch, blind, told, kept):
    """Which of two measurements is kept: of a string that sounds whole, partials 1, 5, 7, 11, 13 are there too."""
    times = np.arange(12000) / 8000.0
    samples = np.concatenate([np.zeros(4000), 0.3 * np.exp(-times) * np.sin(2.0 * np.pi * 440.0 * times)])
    soundfile.write(tmp_path / "a.wav", samples, 8000)
    monkeypatch.setattr("setwright.listening.notes.measure", lambda _, about=None: blind if about is None else told)
    notes = [one.note for one in hear(str(tmp_path / "a.wav"), [110.0, 82.4069], 20).notes]
    assert [one.first_partial for one in notes if not one.refused] == [kept]
