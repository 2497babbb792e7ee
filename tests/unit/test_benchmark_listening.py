"""What the benchmark of listening counts and prints."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.bench_listening import GROSS, WAYS, Heard, Task, figures, heard, main, peak_of, table

GOOD = Heard("open", WAYS[0], 0.01, 0.02, 1.0, 2.0)
POOR = Heard("open", WAYS[0], -2.0, 0.5, 1.0, 2.0)
OCTAVE = Heard("bass", WAYS[0], -1200.0, 900.0, 1.0, 2.0)
NONE = Heard("bass", WAYS[0], None, None, 0.0, 2.0)


def test_a_line_counts_notes_and_shares() -> None:
    cells = figures([GOOD, POOR, OCTAVE, NONE])
    assert cells == ["4", "1", "2.0000", "960.400", "33 %", "67 %", "1", "33 %", "67 %", "0.38"]


def test_nothing_told_leaves_no_figures() -> None:
    assert figures([NONE]) == ["1", "1", *["-"] * 7, "0.00"]
    assert figures([Heard("open", WAYS[1], 1.0, None, 0.0, 1.0)])[7:9] == ["-", "-"]


def test_one_line_for_each_kind_of_one_way() -> None:
    lines = table([GOOD, OCTAVE, Heard("hum", WAYS[1], 1.0, None, 0.0, 1.0)], WAYS[0]).splitlines()
    assert [line.split(" | ")[0] for line in lines[2:]] == ["| open", "| bass", "| all"]


@pytest.mark.parametrize("hertz", [82.3, 441.7])
def test_peak_of_a_sinusoid(hertz: float) -> None:
    """A steady sinusoid of one second: a parabola on the logarithm of an eightfold Hann spectrum is off by less than
    0.01 cent at 82 Hz (Hann's main lobe is nearly a bell; own measurement)."""
    samples = np.cos(2.0 * np.pi * hertz * np.arange(8000) / 8000.0)
    assert abs(1200.0 * np.log2(peak_of(samples, 8000.0, 1.01 * hertz) / hertz)) < 0.01


def test_a_note_by_both_ways() -> None:
    mine, plain = heard(Task("damped at once", 3, known=True))
    assert (mine.way, plain.way) == WAYS
    assert mine.error is not None
    assert mine.sd is not None
    assert plain.error is not None
    assert abs(mine.error) < abs(plain.error) < GROSS


def test_run_prints_both_tables(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--count", "1", "--first", "3", "--kinds", "damped at once"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("1 notes from seed 3")
    assert said.count("| damped at once | 1 |") == 2
