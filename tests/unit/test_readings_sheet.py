"""Every place of the readings page is one the journal knows, and comes back as read last."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from setwright.bench.journals import keep, made
from setwright.bench.readings_sheet import Habit, habit_of, readings_sheet, said_of
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
VALUES = {"pitch": "-3 c", "length": "1.2 mm", "cents": "1 c", "temperature": "21 C", "ratio": "45 %"}


@pytest.fixture
def job(tmp_path: Path) -> str:
    for path in EXAMPLES.glob("kestrel*.toml"):
        shutil.copy(path, tmp_path)
    return str(tmp_path / "kestrel-float.job.toml")


@pytest.mark.parametrize("habit", [None, Habit(17, 1, 7, 15, True, True), Habit(0, 2, 8, 17, False, True)])
def test_what_is_read_at_a_place_is_found_there_again(job: str, habit: Habit | None) -> None:
    sheet = readings_sheet(job, habit)
    spots = [one for group in sheet.groups for one in group.spots]
    assert len({one.words for one in spots}) == len(spots) > 25
    for i, spot in enumerate(spots):
        value = (
            "9 mm"
            if spot.words.startswith("claw")
            else ".3 mm"
            if "clearance" in spot.words or "relief" in spot.words
            else VALUES[spot.kind]
        )
        keep(job, [said_of(spot, value)])
        assert readings_sheet(job, habit).spot(spot.words).last is not None, spot.words
        assert readings_sheet(job, habit).spot(spot.words).last.number == i + 1  # type: ignore[union-attr]


def test_one_place_is_not_another(job: str) -> None:
    for line in ("read string height string 1 at fret 17 = 1.6 mm", "read pitch string 2 harmonic at fret 12 = 494 Hz",
                 "read relief held at 1 and 15, read at 8 = .010 in", "read rear gap treble = 2.6 mm",
                 "read string height string 2 at fret 12 with a capo on 1 = 1.6 mm", "note hello"):  # fmt: skip
        keep(job, [line])
    assert all(one.last is None for group in readings_sheet(job).groups for one in group.spots)


def test_gauges_fit_what_they_read(job: str) -> None:
    sheet = readings_sheet(job)
    for group in sheet.groups:
        for gauge in group.gauges:
            if gauge != "radius gauges":
                made(sheet.job, [said_of(group.spots[0], VALUES[group.spots[0].kind], gauge)], sure=True)


def test_the_habit_is_that_of_the_job() -> None:
    job = read_job(EXAMPLES / "kestrel-float.job.toml")
    assert habit_of(job) == Habit(12, 1, 8, 17)


@pytest.mark.parametrize("habit", [Habit(23, 1, 8, 17), Habit(12, 8, 8, 17), Habit(12, 1, 8, 40), Habit(-1, 1, 8, 17)])
def test_frets_there_are_not(job: str, habit: Habit) -> None:
    with pytest.raises(InputError, match=r"fret|relief"):
        readings_sheet(job, habit)


def test_a_place_there_is_not(job: str) -> None:
    with pytest.raises(InputError, match="no place"):
        readings_sheet(job).spot("pitch string 9")
