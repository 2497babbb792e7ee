"""An ear at work on a job: what it listens for, how names of strings follow their pegs, what it keeps and writes."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.at_hand import at_hand
from setwright.bench.heard_take import hear_take
from setwright.bench.journals import InShop, keep, open_journal
from setwright.bench.live import LONGEST, Ear, Marks, Played, marks_of, plain, write_note
from setwright.bench.shop import add_job, make_shop
from setwright.errors import InputError, QuestionableError
from setwright.instrument.jobfile import read_job
from setwright.practice.sound import Pluck, Slide, first_of, play
from tests.cli.made_takes import recorded, string
from tests.cli.midway import job_midway

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
RATE = 16000.0
BLOCK = 1024
OWN = (329.63, 246.94, 196.0, 146.83, 110.0, 82.41)
NAMES = ("E4", "B3", "G3", "D3", "A2", "E2")
MARKS = Marks(OWN, OWN, 2.0, NAMES)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for path in EXAMPLES.glob("*.toml"):
        shutil.copy(path, tmp_path)
    return tmp_path


@pytest.fixture
def visit(folder: Path) -> InShop:
    at = str(folder / "shop")
    make_shop(at, "Weir Lane Bench")
    return InShop(at, add_job(at, str(folder / "dunlin-heavier.job.toml")).added.visit.id)


def room(seconds: float, seed: int = 1) -> np.ndarray:
    return 1e-4 * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def pluck(hertz: float, seconds: float = 2.5, slide: Slide | None = None) -> np.ndarray:
    sound = play(Pluck(hertz, rate=RATE, seconds=seconds, slide=slide))
    return sound + room(len(sound) / RATE, 2)[: len(sound)]


def push(ear: Ear, *sounds: np.ndarray):
    samples = np.concatenate(sounds)
    out = [ear.push(samples[i : i + BLOCK]) for i in range(0, len(samples), BLOCK)]
    return [one for one in out if one is not None]


def off(hertz: float, other: float) -> float:
    return 1200.0 * math.log2(hertz / other)


def test_marks_of_a_job_that_begins_are_where_strings_were_found_and_are_wanted(folder):
    job = str(folder / "dunlin-heavier.job.toml")
    read = read_job(job)
    marks = marks_of(job)
    own = tuple(one.si for one in read.want.tuning)
    assert marks.own == own
    assert marks.stand == (*(one.si for one in read.found.tuning), *own)
    assert (marks.peg, marks.to, marks.tolerance) == (None, None, read.want.pitch_tolerance.si)
    keep(job, ["read", "pitch string 2 = -30 c"])
    keep(job, ["read", "pitch string 3 = 180 Hz"])
    keep(job, ["read", "pitch string 1 at fret 12 = 600 Hz"], sure=True)
    stand = marks_of(job).stand
    assert off(stand[1], own[1]) == pytest.approx(-30.0)
    assert stand[2] == 180.0
    assert stand[0] == marks.stand[0]


def test_marks_of_a_job_without_a_plan_are_those_it_wants(folder):
    marks = marks_of(str(folder / "knot-too-weak.job.toml"))
    assert len(marks.own) == len(marks.names) == len(marks.stand) / 2


@pytest.mark.slow
def test_marks_in_the_middle_of_a_balance_are_where_it_is_believed(tmp_path):
    job = str(job_midway(tmp_path))
    found = at_hand(job)
    marks = marks_of(job, lambda: found)
    assert found.next.standing is not None
    assert [off(a, b) for a, b in zip(marks.stand, marks.own, strict=True)] == pytest.approx(found.next.standing.cents)
    advice = replace(found.next.advice, do="tune", string=3, hertz=145.0)
    tune = replace(found, next=replace(found.next, advice=advice))
    marks = marks_of(job, lambda: tune)
    assert (marks.peg, marks.to) == (4, 145.0)


def test_the_string_at_hand_is_held_against_its_mark():
    ear = Ear(RATE, replace(MARKS, peg=5, to=110.0 * 2.0 ** (20.0 / 1200.0)))
    string = 110.0 * 2.0 ** (19.5 / 1200.0)
    last = push(ear, room(0.3), pluck(string))[-1]
    first = first_of(Pluck(string, rate=RATE))
    assert last.string == 5
    assert off(last.hertz, first) == pytest.approx(0.0, abs=last.half)
    assert last.cents == pytest.approx(off(last.hertz, 110.0))
    assert last.off == pytest.approx(20.0 - last.cents)
    assert last.rests
    assert plain(last)["string"] == 5
    other = push(ear, room(0.6, 4), pluck(196.0))[-1]
    assert other.string == 3
    assert other.off == pytest.approx(-other.cents)


@pytest.mark.slow
def test_what_is_kept_is_where_it_settles_and_nothing_while_its_peg_is_turned():
    sound = play(Pluck(110.0, rate=RATE, seconds=1.4, glide=12.0))
    true = first_of(Pluck(110.0, rate=RATE))
    shown = push(Ear(RATE, MARKS), room(0.3), sound + room(len(sound) / RATE, 2)[: len(sound)])
    late = [one for one in shown if one.ringing is not None and one.ringing > 1.2]
    assert late
    for one in late:
        assert off(one.settled, true) == pytest.approx(0.0, abs=one.settled_half)
        assert one.settled_half < 1.0
        assert one.settled_cents == pytest.approx(off(one.settled, 110.0))
        assert off(one.hertz, true) > 1.0  # what is drawn is where it is now
    turned = push(Ear(RATE, MARKS), room(0.3), pluck(110.0, 3.0, Slide(60.0, 1.0, 2.5)))
    moving = [one for one in turned if one.state == "moving" and one.hertz is not None]
    assert moving
    assert {(one.settled, one.settled_cents, one.settled_half) for one in moving} == {(None, None, None)}


@pytest.mark.slow
def test_a_tuning_changed_by_a_whole_tone_names_strings_rightly_before_and_after():
    flat = tuple(hz * 2.0 ** (-200.0 / 1200.0) for hz in OWN)
    marks = replace(MARKS, own=flat, stand=(*OWN, *flat))
    for i in range(6):
        for tuning in (OWN, flat):
            ear = Ear(RATE, marks)
            last = push(ear, room(0.3), pluck(tuning[i] * 2.0 ** (-11.0 / 1200.0), 0.8))[-1]
            assert (last.string, last.doubt) == (i + 1, ""), (i, tuning)


def test_a_pitch_two_strings_may_have_is_in_doubt_and_not_kept():
    marks = replace(MARKS, stand=(*OWN, 311.1, 196.0, 185.0, 138.6, 103.8, 77.8))
    ear = Ear(RATE, marks)
    last = push(ear, room(0.3), pluck(196.0, 1.0))[-1]
    assert last.doubt in ("it may be string 2 as well", "it may be string 3 as well")
    assert ear.played is None


def test_a_pitch_far_from_all_strings_is_not_named():
    last = push(Ear(RATE, MARKS), room(0.3), pluck(520.0, 1.0))[-1]
    assert (last.string, last.cents, last.off, last.rests) == (None, None, None, False)
    assert last.hertz is not None
    assert "no open string" in last.doubt


def test_a_name_follows_its_peg_and_the_note_is_kept_from_where_it_rests():
    ear = Ear(RATE, MARKS)
    up = 330.0  # cents: nearer to string 4 than to 5 by then
    slide = Slide(up, 0.8, 2.4)
    turned = push(ear, room(0.3), pluck(110.0, 4.5, slide))
    assert {one.state for one in turned} >= {"moving", "ringing"}
    assert turned[-1].string == 5
    played = ear.played
    assert played is not None
    assert len(played.samples) / RATE < 4.6 - 2.4
    assert off(played.hertz, first_of(Pluck(110.0, rate=RATE))) == pytest.approx(up, abs=0.5)
    assert played.away < 1.0
    push(ear, room(0.6, 3))
    again = push(ear, pluck(played.hertz, 0.8))[-1]
    assert (again.string, again.doubt) == (5, "")


def test_the_last_note_stays_when_it_is_over_and_when_sound_is_lost():
    ear = Ear(RATE, MARKS)
    assert ear.played is None
    push(ear, room(0.3), pluck(146.83, 1.5), room(1.0, 5))
    played = ear.played
    assert played is not None
    assert (played.string, played.rate) == (4, RATE)
    assert 1.3 < len(played.samples) / RATE < 1.8
    ear.begin_anew()
    push(ear, room(0.5, 6))
    assert ear.played is played
    push(ear, pluck(246.94, 1.0))
    assert ear.played is not None
    assert ear.played.string == 2


@pytest.mark.slow
def test_a_long_note_is_kept_to_a_limit():
    ear = Ear(RATE, MARKS)
    push(ear, room(0.3), play(Pluck(82.41, rate=RATE, seconds=LONGEST + 4.0, loss=0.05, loss_square=0.0)))
    assert ear.played is not None
    assert len(ear.played.samples) / RATE <= LONGEST


def test_clipping_is_told_for_a_second():
    ear = Ear(RATE, MARKS)
    assert not push(ear, room(0.3))[-1].clipped
    loud = np.clip(4.0 * pluck(110.0, 0.5), -1.0, 1.0)
    assert push(ear, loud)[-1].clipped
    assert not push(ear, room(1.5, 7))[-1].clipped


def test_aiming_elsewhere_changes_what_pitches_are_held_against():
    ear = Ear(RATE, MARKS)
    ear.aim(MARKS)
    lower = tuple(hz * 2.0 ** (-100.0 / 1200.0) for hz in OWN)
    ear.aim(replace(MARKS, own=lower, stand=lower))
    last = push(ear, room(0.3), pluck(lower[1], 0.8))[-1]
    assert last.string == 2
    assert abs(last.cents) < 2.0


@pytest.mark.slow
def test_notes_are_written_or_refused(visit):
    own = marks_of(visit).own
    samples = np.concatenate([room(0.1), pluck(own[0])])
    played = Played(samples, RATE, 1, own[0], 0.3)
    entry = write_note(visit, played, "a.wav", who="Bo")[0]
    assert (entry.number, entry.recording, entry.who) == (1, "a.wav", "Bo")
    assert off(entry.value.si, first_of(Pluck(own[0], rate=RATE))) == pytest.approx(0.0, abs=0.2)
    with pytest.raises(InputError, match="not to be trusted"):
        write_note(visit, Played(room(1.0), RATE, 1, own[0], 0.3))
    with pytest.raises(InputError, match="not the"):
        write_note(visit, replace(played, hertz=own[0] * 2.0 ** (70.0 / 1200.0)))
    ear = Ear(RATE, marks_of(visit))
    push(ear, room(0.3), pluck(own[5] * 2.0 ** (100.0 / 1200.0)))
    assert ear.played is not None
    assert ear.played.string == 6
    for name in ("", "b.wav"):
        with pytest.raises(QuestionableError, match="100 c from where it stands"):
            write_note(visit, ear.played, name)
    assert len(open_journal(visit)[1].entries) == 1
    assert write_note(visit, ear.played, "b.wav", sure=True)[0].number == 2
    assert write_note(visit, ear.played, sure=True)[0].number == 3


@pytest.mark.slow
def test_a_take_is_heard_with_its_picture_and_nothing_is_written(folder):
    job = str(folder / "dunlin-heavier.job.toml")
    own = [one.si for one in read_job(job).want.tuning]
    shares = []
    take = hear_take(
        job, str(recorded(folder / "a.wav", [string(hz) for hz in own[::-1]])), ("open",), shares.append
    )  # fmt: skip
    assert [one.string for one in take.hearing.notes] == [6, 5, 4, 3, 2, 1]
    assert take.drawing.startswith("<svg") or "<svg" in take.drawing[:200]
    assert shares[-1] == 1.0
    assert not open_journal(job)[1].entries
    noise = hear_take(job, str(recorded(folder / "b.wav", [])))
    assert (noise.hearing.notes, noise.drawing) == ((), "")
