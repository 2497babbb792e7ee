"""What the benchmark of listening does with recorded notes and whole takes."""

from __future__ import annotations

import hashlib
import io
import subprocess
import tarfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from benchmarks import bench_listening, recordings_listening, rivals_listening, takes_listening
from benchmarks.bench_listening import Report, arguments
from benchmarks.heard_listening import MINE, TOLD
from benchmarks.recordings_listening import (
    RATIOS,
    FetchError,
    Interval,
    Recorded,
    cache_folder,
    fetched,
    intervals,
    named,
    notes_in,
    resampled,
    sound_of,
    table,
    tasks,
    worst,
)
from benchmarks.takes_listening import Made, Score, made, misses, score
from benchmarks.takes_listening import table as takes_table
from setwright.listening.notes import Note
from setwright.listening.takes import Heard
from setwright.practice.sound import Pluck, play, truth
from setwright.practice.takes import BASS, GUITAR, Event

ONE = Interval("a@1", "E2", MINE, RATIOS[0], 0.01, 3.0, 0.02, 1.0, 4.0)
FAR = replace(ONE, note="F2", error=-1200.0, other=-1200.0)
LOST = replace(ONE, note="G2", error=None, sd=None, why="noise")
RIVAL = replace(ONE, way="parselmouth ac", error=0.2, sd=None)


def archive_of(folder: Path, notes: dict[str, Pluck]) -> Path:
    path = folder / "a-1.tgz"
    with tarfile.open(path, "w:gz") as tar:
        for name, pluck in notes.items():
            file = io.BytesIO()
            soundfile.write(file, play(pluck, 1), int(pluck.rate), format="WAV", subtype="PCM_24")
            entry = tarfile.TarInfo(f"package/{name}.wav")
            entry.size = file.tell()
            file.seek(0)
            tar.addfile(entry, file)
    return path


@pytest.mark.parametrize("ratio", [*RATIOS, Fraction(160, 147)])
def test_a_sinusoid_is_resampled_exactly(ratio: Fraction) -> None:
    """The same sinusoid at other moments, to the 140 dB of its filter, but for what is cut at the ends."""
    for hertz in (40.0, 1000.0, 9000.0):
        some = resampled(np.sin(2.0 * np.pi * hertz * np.arange(22050) / 22050.0), ratio)
        want = np.sin(2.0 * np.pi * hertz * np.arange(len(some)) / 22050.0 / float(ratio))
        assert len(some) == pytest.approx(22050 * float(ratio), abs=1.0)
        assert np.abs(some - want)[500:-500].max() < 3e-7


@pytest.mark.parametrize(("note", "hertz"), [("A4", 440.0), ("As2", 116.541), ("E1", 41.2034), ("C6", 1046.502)])
def test_notes_by_name(note: str, hertz: float) -> None:
    """Equal temperament on A4 = 440 Hz (ISO 16); values from memory."""
    assert named(note) == pytest.approx(hertz, rel=1e-5)


def test_an_archive_is_fetched_once_and_checked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def run(words, **_):
        asked.append(words)
        (Path(words[-1]) / "some.tgz").write_bytes(b"archive")
        return subprocess.CompletedProcess(words, 0, "", "")

    monkeypatch.setattr(recordings_listening.shutil, "which", lambda name: name)
    monkeypatch.setattr(recordings_listening.subprocess, "run", run)
    digest = hashlib.sha256(b"archive").hexdigest()
    path = fetched("some@1", digest, tmp_path / "cache")
    assert path == tmp_path / "cache" / "some-1.tgz"
    assert fetched("some@1", digest, tmp_path / "cache") == path
    assert [words[:3] for words in asked] == [["npm", "pack", "some@1"]]
    with pytest.raises(FetchError, match="has another hash; remove it"):
        fetched("some@1", "0" * 64, tmp_path / "cache")


def test_the_rival_knows_the_range_of_the_instrument(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A semitone and the farthest resampling beyond its lowest and highest note."""
    archive = archive_of(tmp_path, {"A2": Pluck(110.0, seconds=0.02), "E3": Pluck(164.8, seconds=0.02)})
    monkeypatch.setattr(recordings_listening, "fetched", lambda *_: archive)
    found, lines = tasks(rival=True)
    assert lines == []
    assert [one.note for one in found] == ["A2"] * 3 + ["E3"] * 3
    most = 2.0 ** (1.0 / 12.0) * 160.0 / 147.0
    assert found[0].reach == pytest.approx((110.0 / most, 164.814 * most), rel=1e-5)


def test_what_cannot_be_fetched_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_, **__):
        raise subprocess.TimeoutExpired("npm", 1.0)

    def nothing(words, **_):
        return subprocess.CompletedProcess(words, 1, "", "E404 not there\nmore")

    monkeypatch.setattr(recordings_listening.shutil, "which", lambda name: name)
    for run, said in ((never, "no answer within 240 s"), (nothing, "E404 not there")):
        monkeypatch.setattr(recordings_listening.subprocess, "run", run)
        found, lines = tasks(rival=False, folder=tmp_path)
        assert found == []
        assert len(lines) == 3
        assert all(line.endswith(f"was not fetched: {said}.") for line in lines)
    monkeypatch.setattr(recordings_listening.shutil, "which", lambda name: None)
    assert all("npm is not installed" in line for line in tasks(rival=False, folder=tmp_path)[1])


def test_the_cache_is_the_users_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", "/elsewhere")
    assert cache_folder() == Path("/elsewhere/setwright-recordings")
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", "/home/me")
    assert cache_folder() == Path("/home/me/.cache/setwright-recordings")


@pytest.mark.slow
def test_a_recorded_note_beside_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plain practice note as a recording: the interval is found to 0.02 cent, whether the note is told or not."""
    pluck = Pluck(110.0, inharmonicity=2e-4, rate=22050.0, seconds=1.2, loss=1.0)
    archive = archive_of(tmp_path, {"A2": pluck, "A1": pluck})
    assert notes_in(archive) == ["A1", "A2"]
    assert sound_of(archive, "A2").rate == 22050.0
    monkeypatch.setattr(rivals_listening, "ask", lambda *_: [{"parselmouth ac": (110.0, 0.1)}])
    some = intervals(Recorded(archive, "guitar@1", "A2", (80.0, 400.0), rival=True))
    assert [one.way for one in some] == [way for way in (MINE, MINE + TOLD, "parselmouth ac") for _ in RATIOS]
    for one in some[:4]:
        assert one.error is not None
        assert abs(one.error) < 0.02
        assert one.other == pytest.approx(1200.0 * np.log2(truth(pluck).first_partial / 110.0), abs=0.02)
    moved = [1200.0 * np.log2(float(ratio)) for ratio in RATIOS]
    assert [one.error for one in some[4:]] == pytest.approx(moved)  # it is deaf to resampling, and its errors show it


def test_lines_of_intervals() -> None:
    lines = table([ONE, FAR, LOST, RIVAL]).splitlines()[2:]
    assert len(lines) == 4
    assert lines[0].startswith(f"| a | {MINE} | 3 | 1 | 600.0050 | 1140.000 | 1200.00 | 1 | 1 | 0.020 | 50 % | 0.25 |")
    assert "| all | parselmouth ac | 1 | 0 | 0.2000 | 0.200 | 0.20 | 0 | 0 | - | - | 0.25 |" in lines
    assert "| 1 | 1 | - |" in table([LOST])
    said = worst([ONE, FAR, LOST, RIVAL])
    assert worst([ONE]).endswith("None was refused.")
    assert said.index("| F2 |") < said.index("| E2 |")
    assert said.endswith("One of the pair was refused:\n\n- a G2, 147/160: noise")


def note(start: float, hertz: float, sd: float = 0.1, refused: str | None = None) -> Note:
    return Note(start, start + 1.0, (start, start + 1.0), hertz, sd, refused=refused)


def event(kind: str, start: float, string: int | None, fret: float | None) -> Event:
    return Event(kind, start, start + 1.0, string, fret, None if string is None else truth(Pluck(100.0)))


def test_a_take_is_scored_note_by_note() -> None:
    events = (
        event("open", 1.0, 6, 0.0), event("open", 3.0, 5, 0.0), event("harmonic", 5.0, 5, 12.0),
        event("fretted", 7.0, 5, 12.0), event("open", 9.0, 4, 0.0), event("retuned", 11.0, 3, 0.0),
        event("talk", 13.0, None, None), event("open", 15.0, 3, 0.0),
    )  # fmt: skip
    told = [
        Heard(note(1.05, 100.0 * 2.0 ** (0.15 / 1200.0)), 6, 0, "open"),
        Heard(note(3.0, 200.0), 4, 5, "fretted"),
        Heard(note(5.0, 100.0), 5, 12, "harmonic", "or held"),
        Heard(note(7.0, 100.0, refused="noise"), None, None, None, "noise"),
        Heard(note(11.0, 101.0), 3, 0, "open"),
        Heard(note(13.2, 300.0), 1, 1, "fretted"),
        Heard(note(13.4, 300.0), None, None, None, "nowhere"),
        Heard(note(15.0, 100.0), 3, 0, "open"),
    ]
    one = score(2, Made(GUITAR, np.zeros(44100), events, (100.0,) * 6 + (0.0, 100.0)), told, 0.5)
    assert (one.notes, one.right, one.doubted, one.wrong, one.missed, one.false) == (7 - 1, 2, 1, 1, 2, 2)
    assert (one.placed, one.inside, len(one.errors), one.guessed) == (3, 3, 4, 1)
    held = [replace(one, kind="fretted") if one.kind == "harmonic" else one for one in told]
    other = score(2, Made(GUITAR, np.zeros(44100), events, (100.0,) * 6 + (0.0, 100.0)), held, 0.5)
    assert (other.doubted, other.guessed, other.wrong) == (1, 0, 1)
    text = misses([one])
    assert "fretted string 5 fret 12 at 7.00 s not heard: noise" in text
    assert "open string 4 fret 0 at 9.00 s not heard: no onset" in text
    assert "reported +17.2 cents from where the peg ended" in text
    assert "at 13.20 s no note was played" in text
    assert misses([one], most=1).endswith("- and 5 more")
    line = takes_table([one]).splitlines()[2]
    assert line.startswith("| 1 bass | 6 | 33.3 % | 50.0 % | 16.7 % | 16.7 % | 16.7 % | 33.3 % | 2.00 |")
    assert line.endswith("| 75 % | 0.50 |")
    empty = Score(0, 0, 0, 0, 0, 0, 0, 0, 0, (), 0.0, 1.0, ())
    assert "| 1 guitar | 0 |" in takes_table([empty])
    assert misses([empty]) == "Nothing."


@pytest.mark.slow
def test_takes_hold_forty_notes_and_end_where_they_say() -> None:
    for seed in (1, 2):
        one = made(seed)
        assert one.strings == (BASS if seed == 2 else GUITAR)
        sounding = [(e, hz) for e, hz in zip(one.events, one.settled, strict=True) if e.truth is not None]
        assert 36 <= len(sounding) <= 64
        for what, hz in sounding:
            moved = abs(1200.0 * np.log2(hz / what.truth.first_partial))
            assert moved < (60.1 if what.kind == "retuned" else 1e-6)
            assert what.kind != "retuned" or what.end - what.start > takes_listening.TURNED[1]


@pytest.mark.slow
def test_a_take_goes_through_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two open strings, a second and a half apart: both are told rightly."""
    pluck = [replace(takes_listening.string_at(GUITAR, n, 0.0), seconds=1.2, rate=22050.0) for n in (5, 6)]
    items = [takes_listening.Played("open", 0.4, one, n, 0.0) for n, one in zip((5, 6), pluck, strict=True)]
    samples, events = takes_listening.take(items, takes_listening.RATE, 1)
    monkeypatch.setattr(
        takes_listening, "made",
        lambda seed: Made(GUITAR, samples, tuple(events), tuple(e.truth.first_partial for e in events if e.truth)),
    )  # fmt: skip
    one = takes_listening.heard(0)
    assert (one.notes, one.right, one.false) == (2, 2, 0)
    assert one.processor > 0.0


def test_both_parts_are_told(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(rivals_listening, "usable", lambda: ([], []))
    monkeypatch.setattr(recordings_listening, "tasks", lambda rival: ([1], ["one was not fetched"]))
    monkeypatch.setattr(recordings_listening, "intervals", lambda task: [ONE])
    monkeypatch.setattr(
        takes_listening, "heard", lambda seed: Score(seed, 4, 3, 4, 0, 1, 0, 0, 4, (0.1,) * 4, 1.0, 2.0, ("x",))
    )
    monkeypatch.setattr(bench_listening, "runs", lambda work, some, minutes: map(work, some))
    report = Report(1e9, ["recordings", "takes"])
    bench_listening.recordings_part(report)
    bench_listening.takes_part(report, arguments(["--takes", "2", "--first", "5"]))
    said = capsys.readouterr().out
    assert "1 of 1 recorded notes" in said
    assert "one was not fetched" in said
    assert "2 takes of 40 to 60 notes" in said
    assert "- seed 5: x\n- seed 6: x" in said
