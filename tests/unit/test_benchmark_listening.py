"""What the benchmark of listening counts and prints."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchmarks import bench_listening, heard_listening, rivals_answer, rivals_listening
from benchmarks import tables_listening as tables
from benchmarks.bench_listening import Report, arguments, asked_for, main
from benchmarks.bound_listening import BELOW, Beside, Noisy, beside
from benchmarks.bound_listening import table as bound_table
from benchmarks.heard_listening import MINE, PEAK, TOLD, Heard, Task, heard, measured, peak_of, reach, strings_of
from benchmarks.octaves_listening import interval_heard, pair
from benchmarks.running import number, runs
from benchmarks.tables_listening import GROSS, figures, medians, ratios, refusals, table, ways_table, worst
from devtools import rivals
from setwright.listening.sound import Sound
from setwright.practice.takes import BASS, GUITAR
from tests.judges.note_kinds import KINDS

GOOD = Heard("open", MINE, 0.01, 0.02, 1.0, 2.0, 3)
POOR = Heard("open", MINE, -2.0, 0.5, 1.0, 2.0, 4)
OCTAVE = Heard("bass", MINE, -1200.0, 900.0, 1.0, 2.0, 5)
NONE = Heard("bass", MINE, None, None, 0.0, 2.0, 6, "noise")
PLAIN = Heard("open", PEAK, 0.5, None, 0.0, 1.0, 3)


def test_a_line_counts_notes_and_shares() -> None:
    cells = figures([GOOD, POOR, OCTAVE, NONE])
    assert cells == ["4", "1", "2.0000", "960.400", "33 %", "67 %", "1", "33 %", "67 %", "0.38"]


def test_nothing_told_leaves_no_figures() -> None:
    assert figures([NONE]) == ["1", "1", *["-"] * 7, "0.00"]
    assert figures([PLAIN])[7:9] == ["-", "-"]


def test_one_line_for_each_kind_of_one_way() -> None:
    lines = table([GOOD, OCTAVE, PLAIN], MINE).splitlines()
    assert [line.split(" | ")[0] for line in lines[2:]] == ["| open", "| bass", "| all"]


def test_one_line_for_each_way() -> None:
    lines = ways_table([GOOD, PLAIN, OCTAVE]).splitlines()
    assert [line.split(" | ")[:2] for line in lines[2:]] == [[f"| {MINE}", "2"], [f"| {PEAK}", "1"]]


def test_medians_part_those_told_the_note_from_the_others() -> None:
    some = [GOOD, POOR, OCTAVE, PLAIN]
    assert medians(some, told=False).splitlines()[2:] == [
        "| open | 1.0050 |",
        "| bass | 1200.0000 |",
        "| all | 2.0000 |",
    ]
    assert medians(some, told=True).splitlines()[2:] == ["| open | 0.5000 |", "| bass | - |", "| all | 0.5000 |"]


def test_ratios_of_medians() -> None:
    lines = ratios([GOOD, OCTAVE, PLAIN], [NONE]).splitlines()
    assert lines[2] == "| all notes | 600.0050 | 0.5000 | 1 / 0.0 |"
    assert lines[3] == "| clean notes (open, fretted, bass, harmonic) | 600.0050 | 0.5000 | 1 / 0.0 |"
    assert lines[4].endswith("| - | - | - |")
    assert ratios([GOOD, PLAIN], []).splitlines()[2] == "| all notes | 0.0100 | 0.5000 | 1 / 50.0 |"


def test_the_worst_by_error_and_by_stated_uncertainty() -> None:
    by_error, by_sd = worst([GOOD, POOR, OCTAVE, NONE, PLAIN]).split("By error over standard uncertainty:")
    first = [[line.split(" | ")[1] for line in part.splitlines() if line[:2] == "| "][2:] for part in (by_error, by_sd)]
    assert first == [["5", "4", "3"], ["4", "5", "3"]]
    assert refusals([GOOD, NONE]) == "Refused:\n\n- bass, seed 6: noise"
    assert refusals([GOOD]) == "None was refused."


@pytest.mark.parametrize("hertz", [82.3, 441.7])
def test_peak_of_a_sinusoid(hertz: float) -> None:
    """A steady sinusoid of one second: a parabola on the logarithm of an eightfold Hann spectrum is off by less than
    0.01 cent at 82 Hz (Hann's main lobe is nearly a bell; own measurement)."""
    samples = np.cos(2.0 * np.pi * hertz * np.arange(8000) / 8000.0)
    assert abs(1200.0 * np.log2(peak_of(samples, 8000.0, 1.01 * hertz) / hertz)) < 0.01


def test_a_note_by_every_way() -> None:
    mine, told, plain = heard(Task("damped at once", 3))
    assert (mine.way, told.way, plain.way) == (MINE, MINE + TOLD, PEAK)
    assert mine.error is not None
    assert mine.sd is not None
    assert plain.error is not None
    assert abs(mine.error) < abs(plain.error) < GROSS


def test_a_fault_of_the_estimator_is_told_and_does_not_end_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(sound, about):
        raise IndexError("out of range")

    monkeypatch.setattr(heard_listening, "measure", broken)
    one = measured(Sound(np.zeros(10), 8000.0))
    assert (one.hertz, one.why) == (None, "FAULT: IndexError in broken: out of range")
    monkeypatch.undo()
    assert measured(Sound(np.zeros(10), 8000.0)).why == "nothing is heard"


def test_rivals_are_asked_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    """Once with the range of the instrument, once with that of the note; both hold the note."""
    asked = []

    def ask(samples, rate, ranges):
        asked.extend(ranges)
        return [{"a": (100.0, 0.5)}, {"a": (None, 0.25)}]

    monkeypatch.setattr(rivals_listening, "ask", ask)
    some = heard(Task("damped at once", 3, rivals=True))[3:]
    assert [(one.way, one.error is None, one.processor) for one in some] == [
        ("a", False, 0.5),
        ("a" + TOLD, True, 0.25),
    ]
    (low, high), (near, far) = asked
    assert low < near < far < high
    assert far / near == pytest.approx(2.0 ** (1.0 / 6.0))


@pytest.mark.parametrize("kind", KINDS)
def test_a_note_lies_within_the_reach_of_its_instrument(kind: str) -> None:
    """Frets to 22 lie below 4 times the open string, harmonics at it: `strings_of` itself asserts the string."""
    found = {strings_of(kind, seed) for seed in range(12)}
    assert found == ({BASS} if kind == "bass" else {BASS, GUITAR})
    assert reach(BASS) == pytest.approx((41.203 / 1.05946, 4.0 * 97.999 * 1.05946), rel=1e-4)


def test_a_pair_is_one_string_an_octave_apart() -> None:
    """B goes as 1 / L^2: four times at half the length. 2 sqrt((1 + 4 B) / (1 + B)) is the interval when both are in
    tune; they are some cents off."""
    for seed in range(4):
        both = pair(seed)
        assert both.true[1] / both.true[0] == pytest.approx(2.0, rel=0.04)
        assert both.nominal[1] == pytest.approx(2.0 * both.nominal[0])
    mine, plain = interval_heard(0)
    assert mine.sd is not None
    assert mine.error is not None
    assert plain.error is not None
    assert abs(plain.error) < GROSS


@pytest.mark.slow
def test_errors_beside_the_bound() -> None:
    """Ten decibels less noise, a third of the bound: it goes with the amplitude of the noise."""
    one, less = (beside(Noisy(2, 0.0, below, 1)) for below in (20.0, 30.0))
    assert one.least / less.least == pytest.approx(10.0**0.5)
    assert one.error is not None
    gross = Beside(Noisy(0, 0.0, BELOW[0], 1), 1200.0, 0.1)
    some = [Beside(Noisy(0, 0.0, BELOW[0], 1), e, 0.1) for e in (0.3, -0.3)]
    lost = Beside(Noisy(0, 6.0, BELOW[1], 1), None, 0.1)
    lines = bound_table([*some, gross, lost]).splitlines()
    assert lines[2] == "| 10 | 3 | 0, 1 gross | 3.00 | 0 | 0 | - |"
    assert lines[3] == "| 20 | 0 | 0 | - | 1 | 1 | - |"


def test_run_prints_its_tables(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rivals_listening, "usable", lambda: ([], ["none here"]))
    assert main(["--count", "1", "--first", "3", "--kinds", "damped at once", "--only", "notes"]) == 0
    said = capsys.readouterr().out
    assert "1 notes from seed 3" in said
    assert "none here" in said
    assert said.count("| damped at once | 1 |") == 3
    assert said.count("| damped at once | 3 |") == 2


def test_other_libraries_hear_as_many_notes_of_each_kind_as_are_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """All where nothing is said; the page tells how many."""
    monkeypatch.setattr(rivals_listening, "usable", lambda: (["a"], []))
    asked: list[Task] = []

    def none(work: object, tasks: list[Task], minutes: float) -> list[list[Heard]]:
        asked.extend(tasks)
        return [[GOOD, replace(GOOD, way=MINE + TOLD), PLAIN]]

    monkeypatch.setattr(bench_listening, "runs", none)
    for words, all_ways in ((["--beside", "2"], [True, True, False]), ([], [True] * 3)):
        asked.clear()
        report = Report(100.0, ["notes"])
        bench_listening.notes_part(report, arguments(["--count", "3", "--kinds", "open", *words]))
        assert [one.rivals for one in asked] == all_ways
        assert ("heard the first 2 of each kind" in report.parts[0]) == (not all(all_ways))


def test_all_of_it_goes_to_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    done = []
    for name in ("octaves_part", "bound_part", "recordings_part", "takes_part"):
        monkeypatch.setattr(bench_listening, name, lambda report, *_, name=name: done.append(name))
    monkeypatch.setattr(bench_listening, "notes_part", lambda report, given: [GOOD])
    monkeypatch.setattr(bench_listening, "PAGE", tmp_path / "page.md")
    assert main(["--write", "--count", "1"]) == 0
    assert done == ["octaves_part", "bound_part", "recordings_part", "takes_part"]
    text = (tmp_path / "page.md").read_text(encoding="utf-8")
    assert text.startswith("# How well notes are heard\n\nWritten by `./dev bench listening --write --count 1`")
    assert "## Where Setwright was farthest off" in text


def test_a_part_leaves_time_for_those_after_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench_listening.time, "monotonic", lambda: 0.0)
    report = Report(600.0, ["notes", "octaves", "takes"])
    assert report.minutes("notes") == pytest.approx(10.0 * 12.0 / 17.0)
    assert report.minutes("octaves") == pytest.approx(2.0)
    assert report.minutes("takes") == pytest.approx(10.0)
    assert Report(-1.0, ["notes"]).minutes("notes") == 0.0


def test_arguments() -> None:
    assert (arguments([]).recordings, arguments([]).takes) == (False, 0)
    assert (arguments(["--write"]).recordings, arguments(["--write"]).takes) == (True, bench_listening.TAKES)
    assert asked_for(arguments([])) == ["notes", "octaves", "bound"]
    assert asked_for(arguments(["--takes", "3"])) == ["notes", "octaves", "bound", "takes"]
    assert asked_for(arguments(["--only", "takes", "recordings"])) == ["recordings", "takes"]
    assert arguments(["--only", "takes"]).takes == bench_listening.TAKES
    assert number("7") == 7
    for word in ("0", "-1", "x"):
        with pytest.raises(argparse.ArgumentTypeError, match="whole number from 1 on"):
            number(word)


def test_runs_are_in_order_and_end_with_the_minutes() -> None:
    assert list(runs(abs, [-3, -1, -2], 1.0)) == [3, 1, 2]
    assert list(runs(abs, [-3, -1, -2], 0.0)) == [3]


class TestRivals:
    def test_the_later_half_of_what_is_voiced_counts(self) -> None:
        frames = np.array([0.0, 104.0, 103.0, np.nan, 101.0, 100.0, 100.2, 900.0, 0.0])
        assert rivals_answer.steady(frames, 90.0, 110.0) == pytest.approx(100.2)
        assert rivals_answer.steady(np.zeros(4), 90.0, 110.0) is None

    def test_a_way_that_fails_has_no_answer(self, monkeypatch: pytest.MonkeyPatch) -> None:
        ways = {"good": ("numpy", lambda x, rate, low, high: np.full(9, 0.5 * (low + high))), "bad": ("numpy", None)}
        monkeypatch.setattr(rivals_answer, "WAYS", ways)
        assert rivals_answer.answer("good", np.zeros(99), 8000, 90.0, 110.0)[0] == 100.0
        assert rivals_answer.answer("bad", np.zeros(99), 8000, 90.0, 110.0)[0] is None

    def test_a_process_answers_line_by_line(self) -> None:
        """This environment has none of the libraries: every way says so, and no pitch comes back."""
        link = rivals_listening.Rivals(sys.executable)
        assert link.ask(np.zeros(500), 8000.0, [(90.0, 110.0), (50.0, 200.0)]) == [{}, {}]
        link.close()
        link.close()
        broken = rivals_listening.Rivals("/bin/false")
        with pytest.raises(ChildProcessError, match="has ended"):
            broken.ask(np.zeros(9), 8000.0, [])
        broken.close()

    def test_those_that_cannot_be_imported_say_why(self) -> None:
        assert set(rivals_answer.there()) == set(rivals_answer.WAYS)
        assert all("No module named" in why for why in rivals_answer.there().values())

    @pytest.mark.parametrize("word", ["--there", "--warm"])
    def test_it_need_not_wait_for_lines(
        self, word: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setattr(sys, "argv", ["answer", word])
        assert rivals_answer.main() == 0
        assert set(json.loads(capsys.readouterr().out)) == set(rivals_answer.WAYS)

    def test_without_an_environment_the_command_is_named(self, tmp_path: Path) -> None:
        (tmp_path / "requirements").mkdir()
        (tmp_path / "requirements" / "rivals.txt").write_text("librosa==1\n")
        assert rivals_listening.usable(tmp_path) == ([], [f"Other libraries are left out: {rivals_listening.MAKE}."])

    @pytest.mark.slow
    @pytest.mark.skipif(
        not rivals.is_current(rivals_listening.ROOT), reason="./dev bench listening --rivals was not run"
    )
    def test_every_library_finds_a_plain_tone(self) -> None:
        """Five steady partials in tune: a period within 10 cents, the coarsest grid among them."""
        times = np.arange(22050) / 22050.0
        tone = sum(np.sin(2.0 * np.pi * 220.5 * n * times) / n for n in range(1, 6))
        link = rivals_listening.Rivals()
        (said,) = link.ask(0.1 * np.asarray(tone), 22050.0, [(110.0, 440.0)])
        link.close()
        assert set(said) == set(rivals_listening.usable()[0])
        for way, (hertz, _) in said.items():
            limit = 25.0 if way == "aubio yinfft" else 10.0
            assert hertz is not None
            assert abs(1200.0 * np.log2(hertz / 220.5)) < limit, way


def test_tables_are_markdown() -> None:
    assert tables.markdown(("a", "b"), [("1", "2")]) == "| a | b |\n| --- | --- |\n| 1 | 2 |"
