"""setwright notes as a shell sees it, and where drawings go."""

import json
import os
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from setwright.bench.drawn import put_drawing
from setwright.cli.layout import WIDTH
from setwright.errors import InputError

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
WIGEON, KESTREL, KNOT = (
    str(EXAMPLES / f"{name}.job.toml") for name in ("wigeon-reradius", "kestrel-float", "knot-too-weak")
)
JOBS = sorted(str(p) for p in EXAMPLES.glob("*.job.toml"))
FEW = ("--samples", "32")
BASS = """
[job]
title = "A <bass> & \\"more\\" #1"
instrument = "curlew.instrument.toml"
[found]
strings = [".045w", ".065w", ".085w", ".105w"]
tuning = "standard"
string_height = { fret = 12, treble = "2.0 mm", bass = "2.5 mm" }
octave = ["29 c", "-29 c", "0 c", "0 c"]
[want]
"""


@pytest.fixture
def bass(tmp_path):
    (tmp_path / "curlew.instrument.toml").write_text((EXAMPLES / "curlew.instrument.toml").read_text())
    job = tmp_path / "bass.job.toml"
    job.write_text(BASS)
    return job


@pytest.mark.parametrize("job", JOBS, ids=lambda path: Path(path).name.split(".")[0])
@pytest.mark.parametrize("units", ["mm", "inch"])
def test_the_map_of_every_demo_job_fits_80_columns(ask, job, units):
    code, out, err = ask("notes", job, "--units", units, *FEW)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= WIDTH
    assert "nan" not in out.casefold().split()
    assert "OCTAVE AT FRET 12, AS FOUND" in out


def test_the_plans_end_stands_below(ask):
    code, out, _ = ask("notes", WIGEON, "--plan", *FEW)
    assert code == 0
    assert out.index("AS FOUND") < out.index("AFTER THE PLAN")
    assert max(map(len, out.splitlines())) <= WIDTH


def test_the_json_is_the_map(ask):
    from setwright.bench.data import as_data
    from setwright.bench.notes import notes_of
    from setwright.instrument.jobfile import read_job

    code, out, err = ask("notes", WIGEON, "--held", "--ends", "clamped-pinned", "--json", *FEW)
    assert (code, err) == (0, "")
    document = json.loads(out)
    assert (document["document"], document["version"]) == ("notes", 1)
    assert document["notes"] == as_data(notes_of(read_job(WIGEON), False, "clamped-pinned", False, 32))


def test_how_it_was_worked_is_said(ask):
    assert "plate and neck held where they rest" in " ".join(ask("notes", WIGEON, "--held", *FEW)[1].split())
    assert "held fast at both ends" in " ".join(ask("notes", WIGEON, "--ends", "clamped", *FEW)[1].split())


def test_a_bass_whose_saddles_end_first_is_told_what_to_try(ask, bass):
    code, out, err = ask("notes", bass, *FEW)
    text = " ".join(out.split())
    assert (code, err) == (0, "")
    assert "String 1: the saddle's travel ends" in text
    assert "stay. Try, in this order: new string" in text
    assert re.search(r"1 \+29\.0 ± 0\.\d c back \d+ ", text)
    assert re.search(r"2 −29\.0 ± 0\.\d c forward \d+ ", text)


def test_a_choked_note_is_marked(ask, bass):
    low = '{ value = "0.3 mm", sure = true }'
    bass.write_text(BASS.replace('treble = "2.0 mm"', f"treble = {low}").replace("octave =", "# "))
    code, out, err = ask("notes", bass, *FEW)
    assert (code, err) == (0, "")
    assert "!" in out.split("OCTAVE")[0]
    assert "it chokes there" in out


@pytest.mark.parametrize("command", ["notes", "heights", "clearance"])
def test_a_drawing_is_written_whole_with_names_escaped(ask, bass, tmp_path, command):
    target = tmp_path / "drawing.svg"
    code, out, err = ask(command, bass, "--svg", target, *FEW)
    assert (code, err) == (0, "")
    assert out.startswith('A <bass> & "more" #1')
    root = ET.fromstring(target.read_bytes())
    assert 'A <bass> & "more" #1' in root.findtext("{http://www.w3.org/2000/svg}title")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bass.job.toml", "curlew.instrument.toml", "drawing.svg"]
    code, drawn, _ = ask(command, bass, "--svg", "-", *FEW)
    assert code == 0
    assert drawn == target.read_text()


@pytest.mark.parametrize("command", ["notes", "heights", "clearance"])
def test_strings_not_at_pitch_are_refused_in_one_sentence(ask, bass, command):
    bass.write_text(BASS.replace('tuning = "standard"', 'state = "slack"\ntuning = "standard"').replace("octave", "#"))
    code, out, err = ask(command, bass, *FEW)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "ask with --plan" in err


def test_no_plan_is_code_3(ask):
    code, out, err = ask("notes", KNOT, "--plan", *FEW)
    assert (code, out) == (3, "")
    assert "no plan exists" in err


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (["--svg", "-", "--json"], "both go to standard output"),
        (["--svg", "."], "not a file"),
        (["--svg", ""], "no name of a file"),
        (["--svg", "a\0b"], "no name of a file"),
        (["--svg", "/nowhere/at/all.svg"], "cannot be written: no such file"),
        (["--svg", "/dev/null"], "not a file"),
        (["--ends", "loose"], "loose"),
    ],
)
def test_what_cannot_be_drawn_gives_one_sentence(ask, words, reason):
    code, _, err = ask("notes", WIGEON, *words, *FEW)
    if "--json" in words:
        assert code == 2
        return
    assert code == 2
    assert reason in err
    assert err.count("\n") == 1


def test_a_drawing_that_fails_leaves_what_was_there(tmp_path, monkeypatch):
    target = tmp_path / "kept.svg"
    target.write_text("old")
    target.chmod(0o640)
    with pytest.raises(UnicodeEncodeError):
        put_drawing(str(target), "new \ud800")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["kept.svg"]
    put_drawing(str(target), "new")
    assert target.read_text() == "new"
    assert target.stat().st_mode & 0o777 == 0o640

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="no space left on device"):
        put_drawing(str(target), "newer")
    assert target.read_text() == "new"


def test_a_link_keeps_being_a_link(tmp_path):
    (tmp_path / "real.svg").write_text("old")
    (tmp_path / "link.svg").symlink_to("real.svg")
    put_drawing(str(tmp_path / "link.svg"), "new")
    assert (tmp_path / "link.svg").is_symlink()
    assert (tmp_path / "real.svg").read_text() == "new"


def test_a_capo_is_told_first_and_notes_count_from_it(ask):
    code, out, err = ask("notes", WIGEON, "--capo", "4", *FEW)
    assert (code, err) == (0, "")
    assert out.index("OPEN STRINGS WITH THE CAPO ON 4, AS FOUND") < out.index("fret ")
    assert re.search(r"^ +5 ", out, re.MULTILINE)
    assert not re.search(r"^ +4 ", out, re.MULTILINE)
    assert max(map(len, out.splitlines())) <= WIDTH


def test_a_grip_without_a_capo_is_refused(ask):
    code, _, err = ask("notes", WIGEON, "--capo-grips")
    assert code == 2
    assert "--capo-grips says nothing without a capo" in err


@pytest.mark.parametrize("capo", ["0", "13", "x"])
def test_a_capo_off_the_neck_is_a_usage_error(ask, capo):
    assert ask("notes", WIGEON, "--capo", capo)[0] == 2


def test_a_fanned_board_with_a_capo_at_the_plans_end(ask):
    code, out, err = ask("notes", str(EXAMPLES / "sanderling-lower.job.toml"), "--plan", "--capo", "2", *FEW)
    assert (code, err) == (0, "")
    assert "OPEN STRINGS WITH THE CAPO ON 2, AFTER THE PLAN" in out
    assert "frets are fanned" in " ".join(out.split())
