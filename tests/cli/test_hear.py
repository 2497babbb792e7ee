"""setwright hear: recordings made here, of decaying partials n f sqrt(1 + B n^2) whose pitch is known exactly."""

import hashlib
import json
import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from setwright.bench.heard_notes import heard_map
from setwright.bench.hearing import Hearing, hear, hear_job, write_down
from setwright.bench.journals import open_journal
from setwright.cli.asked import progress_to
from setwright.cli.hear_table import clock, hearing_text
from setwright.cli.layout import WIDTH
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job
from setwright.listening.notes import Note
from setwright.listening.takes import Heard
from tests.cli.made_takes import RATE, STIFF, recorded, string

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def take(tmp_path_factory):
    """Open strings 5 and 4 with harmonic and stopped note, one string too soft, and a knock."""
    folder = tmp_path_factory.mktemp("take")
    knock = 0.3 * np.random.default_rng(3).standard_normal(400) * np.exp(-np.arange(400) / 80)
    sounds = [
        string(110.0), string(220.0, stiff=4 * STIFF), string(220.0 * 2 ** (6 / 1200), stiff=4 * STIFF), knock,
        string(146.8324),
    ]  # fmt: skip
    return recorded(folder / "take one.wav", sounds)


@pytest.fixture
def job(tmp_path):
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    return tmp_path / "kestrel-float.job.toml"


def test_json_has_every_note_with_its_pitch_string_and_fret(ask, take):
    code, out, err = ask("hear", take, "--tuning", "E4 B3 G3 D3 A2 E2", "--json")
    assert (code, err) == (0, "")
    given = json.loads(out)
    assert (given["document"], given["version"]) == ("hearing", 1)
    notes = given["notes"]
    assert [one["kind"] for one in notes] == ["open", "harmonic", "fretted", None, "open"]
    assert [(one["string"], one["fret"]) for one in notes] == [(5, 0), (5, 12), (5, 12), (None, None), (4, 0)]
    for one, hertz in zip(notes, (110.0, 220.0, 220.0 * 2 ** (6 / 1200), None, 146.8324), strict=True):
        if hertz is None:
            assert "knock" in one["refused"]
            assert one["first_partial_hz"] is None
            continue
        assert one["refused"] is None
        assert 1200 * math.log2(one["first_partial_hz"] / hertz) == pytest.approx(0.0, abs=0.3)
        assert 0.0 < one["standard_uncertainty_cents"] < 1.0
        assert one["start_s"] < one["used_s"][0] < one["used_s"][1] <= one["end_s"] + 0.02
    starts = [0.5, 2.6, 4.7, 6.8, 7.35]
    assert [one["start_s"] for one in notes] == pytest.approx(starts, abs=0.01)
    assert given["hearing"]["sha256"] == hashlib.sha256(take.read_bytes()).hexdigest()
    assert given["hearing"]["seconds"] == pytest.approx(9.45, abs=0.01)


def test_without_an_instrument_notes_are_measured_alone(ask, take):
    code, out, _ = ask("hear", take, "--json")
    notes = json.loads(out)["notes"]
    assert code == 0
    assert {one["string"] for one in notes} == {None}
    assert sum(1 for one in notes if one["first_partial_hz"]) == 4


def test_the_sheet_fits_and_says_what_was_heard_and_what_not(ask, take):
    code, out, err = ask("hear", take, "--tuning", "standard")
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= WIDTH
    assert out.splitlines()[0] == "take one.wav: 4 notes in 0:09.5, 1 left out"
    assert "12 harm." in out
    assert "A2 " in out
    assert "± c" in out
    assert "LEFT OUT" in out
    assert "a knock" in out
    assert "A3" not in ask("hear", take, "--tuning", "standard", "--reference", "466.16 Hz")[1]


def test_what_is_played_can_be_told(ask, take):
    _, out, _ = ask("hear", take, "--tuning", "standard", "--played", "open, fretted", "--json")
    assert [one["kind"] for one in json.loads(out)["notes"]] == ["open", "fretted", "fretted", None, "open"]


def test_readings_go_into_the_journal_with_their_recording(ask, take, job):
    code, out, _ = ask("hear", take, "--job", job, "--by", "Ada")
    assert code == 0
    assert "Into kestrel-float.journal.txt went #1 to #4." in out
    _, journal = open_journal(str(job))
    digest = hashlib.sha256(take.read_bytes()).hexdigest()
    assert [(one.place.string, one.place.fret, one.place.harmonic) for one in journal.entries] == [
        (5, None, False), (5, 12, True), (5, 12, False), (4, None, False),
    ]  # fmt: skip
    for one in journal.entries:
        assert (one.verb, one.what, one.who) == ("read", "pitch", "Ada")
        assert (one.recording, one.sha256) == ("take_one.wav", digest)
    first = journal.entries[0].value
    assert 1200 * math.log2(first.si / 110.0) == pytest.approx(0.0, abs=0.3)
    assert 0.0 < first.standard_uncertainty < 0.05
    code, out, err = ask("hear", take, "--job", job)
    assert (code, out) == (2, "")
    assert "in kestrel-float.journal.txt already, first as #1" in err
    assert len(open_journal(str(job))[1].entries) == 4


def test_json_of_a_job_tells_the_entries(ask, take, job):
    _, out, _ = ask("hear", take, "--job", job, "--json", "--journal", job.with_name("other.txt"))
    given = json.loads(out)
    assert given["hearing"]["entries"] == [1, 2, 3, 4]
    assert given["hearing"]["journal"].endswith("other.txt")


def test_what_is_in_doubt_stays_out_of_the_journal(ask, job, tmp_path):
    path = recorded(tmp_path / "a.wav", [string(110.0), string(220.0, stiff=4 * STIFF)])
    _, out, _ = ask("hear", path, "--job", job)
    assert "harmonic" in out
    assert "Into kestrel-float.journal.txt went #1. 1 in doubt stayed out." in " ".join(out.split())
    assert len(open_journal(str(job))[1].entries) == 1


def test_the_tuning_found_serves_when_the_take_fits_it(tmp_path):
    for one in EXAMPLES.glob("dunlin*"):
        shutil.copy(one, tmp_path)
    read = read_job(tmp_path / "dunlin-heavier.job.toml")
    found, want = read.found.tuning[4].si, read.want.tuning[4].si
    assert abs(1200 * math.log2(found / want)) > 60.0
    path = recorded(tmp_path / "a.wav", [string(one.si) for one in read.found.tuning[3:5]])
    result = hear_job(read, str(path))
    assert [one.string for one in result.notes] == [4, 5]
    assert "near the tuning found" in result.remarks[0]
    assert result.tuning[4] == found


def test_everything_known_of_a_note_is_told_in_words():
    sharp = Note(1.0, 3.0, (1.1, 3.0), 110.0, 0.02, glide=4.2, glide_sd=0.05, settled=True, decay=1.0)
    gliding = replace(sharp, first_partial_sd=0.06, settled=False, glide=6.0, glide_sd=0.1, left=1.25)
    notes = (
        Heard(sharp, 5, 0, "open"),
        Heard(gliding, 5, 7, "fretted", "string 5 or string 4"),
        Heard(replace(gliding, first_partial_sd=1.0), 5, 8, "fretted"),
        Heard(replace(sharp, settled=False, glide=0.2, left=0.02, beating=-1.34, clipped=0.02), 5, 12, "harmonic"),
        Heard(Note(4.0, 5.0, first_partial=20000.0), None, None, None),
        Heard(Note(6.0, 7.0), None, None, None),
    )
    out = hearing_text(Hearing("a.wav", "", 10.0, 48000.0, 1, 1, notes), None, 440.0)
    words = " ".join(out.split())
    rows = [line.split() for line in out.splitlines() if line.startswith("  0:0")]
    assert [row[-4] for row in rows[:3]] == ["4.2", "6.0", "6.0"]  # of 4 % and its own share, 1.96 standard deviations
    assert "0:01.0 string 5 or string 4; 1.25 ± 0.11 c of its glide was still to come: let it ring longer" in words
    assert words.count("still to come") == 1  # not where the pitch is less sure than that, nor where next to nothing is
    assert "0:01.0 beats: two tones 1.3 c apart; clipped: 2 % of it" in words
    assert "7?" in out
    assert max(map(len, out.splitlines())) <= WIDTH


def test_every_note_stands_against_its_open_string_and_the_saddles_follow(ask, take, job):
    code, out, _ = ask("hear", take, "--tuning", "standard")
    assert code == 0
    assert "AGAINST THE OPEN STRING" in out
    assert "± 2 c: what most ears let pass" in " ".join(out.split())
    rows = {tuple(line.split()[:3]): line for line in out.splitlines()}
    assert "stiffness puts it +0.3 c" in rows["5", "12", "harm."]  # 600 log2((1 + 4 B) / (1 + B)) with B = 1e-4
    assert rows["5", "12", "0:04.7"].endswith("outside")
    assert "saddle" not in out
    inch = ask("hear", take, "--job", job, "--units", "inch")[1]
    assert "per .010 in" in inch
    row = next(line for line in inch.splitlines() if line.startswith("     5  +"))
    assert "back 2 7/8 turns (.088 in)" in row  # 6.0 c over 2.68 c per mm, 32 threads an inch
    assert max(map(len, inch.splitlines())) <= WIDTH


def test_the_map_as_json(ask, take, job):
    given = json.loads(ask("hear", take, "--job", job, "--json")[1])["hearing"]["map"]
    assert [(one["string"], one["fret"], one["kind"]) for one in given["intervals"]] == [
        (5, 12, "harmonic"), (5, 12, "fretted"),
    ]  # fmt: skip
    assert given["intervals"][1]["off"]["value"] == pytest.approx(6.0, abs=0.3)
    assert (given["tolerance"], given["asked"], given["intervals"][1]["verdict"]) == (2.0, False, "outside")
    assert given["apart"][0]["told"]
    saddle = given["saddles"][0]
    assert (saddle["string"], saddle["way"]) == (5, "back")
    assert saddle["move"]["value"] == pytest.approx(6.0 * 0.6477 * math.log(2.0) / 1200.0, rel=0.06)
    assert json.loads(ask("hear", take, "--json")[1])["hearing"]["map"] is None


def test_a_doubtful_octave_is_not_judged_and_moves_no_saddle(ask, job, tmp_path):
    path = recorded(tmp_path / "a.wav", [string(110.0), string(220.0, stiff=4 * STIFF)])
    out = ask("hear", path, "--job", job)[1]
    assert "held or harmonic?" in out
    assert "OCTAVE AT FRET 12" not in out


def test_held_note_and_harmonic_that_are_alike_are_said_to_be():
    def note(string, fret, kind, hertz):
        return Heard(Note(0.0, 1.0, first_partial=hertz, first_partial_sd=0.02), string, fret, kind)

    notes = [
        note(5, 0, "open", 110.0), note(5, 12, "harmonic", 220.02), note(5, 12, "fretted", 220.05),
        note(4, 0, "open", 146.83), note(4, 12, "harmonic", 293.7), note(4, 12, "fretted", 294.7),
    ]  # fmt: skip
    hearing = Hearing("a.wav", "", 10.0, 48000.0, 1, 1, tuple(notes))
    out = hearing_text(hearing, None, 440.0, heard_map(notes, -1.5, 1.0, True))
    words = " ".join(out.split())
    assert "String 5: the held note and the harmonic at fret 12 cannot be told apart in pitch." in words
    assert "−1.5 ± 1 c: asked for by the job" in words
    silent = hearing_text(hearing, None, 440.0, replace(heard_map(notes), silent="No plate does that."))
    assert "OCTAVE AT FRET 12, BY WHAT WAS HEARD\n  No plate does that." in silent


def test_strings_in_the_order_they_were_played(ask, tmp_path):
    path = recorded(tmp_path / "a.wav", [string(98.0), string(70.0), string(70.05)])
    _, out, _ = ask("hear", path, "--tuning", "standard", "--order", "5, 6", "--json")
    given = json.loads(out)
    assert [(one["string"], one["fret"], one["kind"]) for one in given["notes"]] == [
        (5, 0, "open"), (6, 0, "open"), (6, 0, "open"),
    ]  # fmt: skip
    code, _, err = ask("hear", path, "--tuning", "standard", "--order", "5")
    assert (code, err.count("\n")) == (2, 1)
    assert "--order names 1 string, but 2 different notes" in err


def test_nothing_heard(ask, tmp_path, job):
    soundfile.write(tmp_path / "a.wav", 1e-3 * np.random.default_rng(1).standard_normal((2 * RATE, 2)), RATE)
    code, out, _ = ask("hear", tmp_path / "a.wav")
    assert code == 0
    assert "No note was heard" in out
    assert "Channel" in out
    assert "Nothing went into" in ask("hear", tmp_path / "a.wav", "--job", job)[1]


REFUSED = [
    (["none.wav"], "there is no such file"),
    (["take", "--played", "bowed"], "--played: 'bowed' is no kind"),
    (["take", "--played", ""], "is no kind"),
    (["take", "--frets", "20"], "need --tuning or --job"),
    (["take", "--journal", "x.txt"], "go with --job"),
    (["take", "--tuning", "E B"], "has no octave"),
    (["take", "--tuning", "E4", "--frets", "3"], "3 is not in the range"),
    (["take", "--tuning", "E4", "--reference", "1 Hz"], "outside 380 to 500"),
    (["take", "--order", "6 5"], "need --tuning or --job"),
    (["take", "--tuning", "E4", "--order", "E"], "--order: 'E' is no number of a string"),
    (["take", "--tuning", "E4", "--order", ""], "is no number of a string"),
    (["take", "--tuning", "E4", "--order", "2"], "--order: there is no string 2"),
    (["take", "--tuning", "E4", "--order", "1", "--played", "open"], "--order means open strings"),
    (["take", "--svg", "none/a.svg"], "--svg: none/a.svg cannot be written"),
    (["take", "--job", "none.job.toml"], "none.job.toml"),
    (["take", "--job", "JOB", "--tuning", "E4"], "those of the job"),
]


@pytest.mark.parametrize(("words", "part"), REFUSED)
def test_refusals(ask, take, job, words, part):
    given = [take if word == "take" else job if word == "JOB" else word for word in words]
    code, out, err = ask("hear", *given)
    assert (code, out) == (2, "")
    assert part in err
    assert err.count("\n") == 1
    code, out, err = ask("hear", *given, "--json")
    assert (code, err) == (2, "")
    assert json.loads(out)["error"]["exit_code"] == 2


def test_a_name_with_signs_of_its_own_and_a_pitch_that_is_seldom(job, tmp_path):
    path = recorded(tmp_path / 'so "odd"\n.wav', [string(82.4069)])
    hearing = hear(str(path), [82.4069])
    written = write_down(hearing, str(job))
    assert written.entries[0].recording == "so__odd__.wav"
    low = replace(hearing, sha256=64 * "a", notes=(Heard(Note(0.0, 2.0, first_partial=22.0), 1, 0, "open"),))
    assert [one.sure for one in write_down(low, str(job)).entries] == [True]
    with pytest.raises(InputError, match="strike its readings"):
        write_down(hearing, str(job))


def test_progress_on_a_terminal_is_one_line_that_goes_away(capsys):
    assert progress_to(False, "heard") is None
    tell = progress_to(True, "heard")
    for share in (0.0, 0.001, 0.5, 1.0):
        tell(share)
    err = capsys.readouterr().err
    assert err == "\r  0 % heard\r 50 % heard\r            \r"


@pytest.mark.parametrize(
    ("seconds", "text"), [(0.0, "0:00.0"), (59.96, "1:00.0"), (75.25, "1:15.3"), (3723.0, "1:02:03.0")]
)
def test_times(seconds, text):
    assert clock(seconds) == text


def test_a_picture_of_every_note(ask, take, tmp_path):
    code, out, _ = ask("hear", take, "--tuning", "standard", "--svg", tmp_path / "a.svg")
    assert (code, "4 notes" in out) == (0, True)
    drawn = (tmp_path / "a.svg").read_text(encoding="utf-8")
    for words in ("take one.wav", "string 5 harmonic at 12", "string 4 open", "a knock"):
        assert words in drawn.replace("  ", " ")
    code, out, _ = ask("hear", take, "--tuning", "standard", "--save", "-")
    assert (code, out) == (0, drawn)
    code, out, _ = ask("hear", take, "--svg", "-", "--json")
    assert (code, "both go to standard output" in json.loads(out)["error"]["message"]) == (2, True)


def test_many_knocks_are_told_in_one_line():
    notes = [Heard(Note(float(k), k + 0.1, refused="a knock, gone after 0.03 s"), None, None, None) for k in range(4)]
    talk = Heard(Note(7.0, 8.0, refused="its pitch moves"), None, None, None)
    out = hearing_text(Hearing("a.wav", "", 10.0, 48000.0, 1, 1, (*notes, talk)), None, 440.0)
    told = " ".join(out.split("LEFT OUT")[1].split())
    assert told.startswith("0:07.0 to 0:08.0: its pitch moves knocks at 0:00.0, 0:01.0, 0:02.0, 0:03.0: gone at once")
    few = hearing_text(Hearing("a.wav", "", 10.0, 48000.0, 1, 1, tuple(notes[:2])), None, 440.0)
    assert few.count("a knock, gone after 0.03 s") == 2


def test_what_was_heard_before_a_peg_was_turned_stays_out(ask, job, tmp_path):
    held = string(220.0 * 2 ** (6 / 1200), stiff=4 * STIFF)
    path = recorded(tmp_path / "a.wav", [string(110.0), held, string(110.5), string(110.52), string(146.83)])
    out = " ".join(ask("hear", path, "--job", job, "--played", "open fretted")[1].split())
    assert "went #1 to #3. 2 in doubt or heard before a peg was turned stayed out. Peg of string 5 was turned" in out
    kept = open_journal(str(job))[1].entries
    assert [(one.place.string, one.place.fret) for one in kept] == [(5, None), (5, None), (4, None)]
    assert "+6.0 ± 1.0 c outside" in out  # against the open string of its time
