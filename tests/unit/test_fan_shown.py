"""Fanned frets in answers and drawings: every string with its own places, strips that show the slant."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.clearance import clearance_drawing, clearance_of
from setwright.bench.heights import heights_drawing, heights_of
from setwright.bench.notes import notes_drawing, notes_of
from setwright.bench.places import FANNED, under_strings
from setwright.bench.plans import plan_job, problem_from
from setwright.errors import InputError
from setwright.instrument.files import instrument_from_bytes, read_instrument
from setwright.instrument.jobfile import job_from_bytes, read_job
from setwright.planning.found import settle_found
from setwright.sheets.board import LEFT, Places, along, each_along

EXAMPLES = Path(__file__).parents[2] / "examples"
JOB = read_job(EXAMPLES / "sanderling-lower.job.toml")
WIGEON = read_job(EXAMPLES / "wigeon-reradius.job.toml")
FEW = 32
SVG = "{http://www.w3.org/2000/svg}"
NOTES = notes_of(JOB, samples=FEW)
HEIGHTS = heights_of(JOB, samples=FEW)
CLEARANCE = clearance_of(JOB, samples=FEW)
ASKED = {
    "notes": (NOTES, notes_drawing),
    "heights": (HEIGHTS, heights_drawing),
    "clearance": (CLEARANCE, clearance_drawing),
}


@pytest.fixture(params=ASKED)
def asked(request):
    return ASKED[request.param]


def test_every_string_has_places_of_its_own_and_says_so(asked):
    result, _ = asked
    assert len(result.places) == 8
    assert result.scale == pytest.approx(26.25 * 0.0254)
    own = [one.end_x - one.nut_x for one in result.places]
    assert own == pytest.approx(np.linspace(25.5, 27.0, 8) * 0.0254)
    for one, length in zip(result.places, own, strict=True):
        # within what the saddle's compensation turns the string across the slant
        assert one.fret_x[11] - one.nut_x == pytest.approx(0.5 * length, abs=5e-5)
    assert result.places[0].fret_x[6] == pytest.approx(result.places[7].fret_x[6], abs=1e-9)
    if not hasattr(result, "force"):
        assert FANNED in result.remarks


def test_a_straight_board_names_none():
    assert notes_of(WIGEON, samples=FEW).places == ()
    assert under_strings(problem_from(WIGEON).traits) == ()


def test_the_drawing_is_whole_and_shows_the_slant(asked):
    result, draw = asked
    svg = draw(result, "mm")
    root = ET.fromstring(svg)
    width = float(root.get("viewBox").split()[2])
    assert "each string has its own places" in "".join(root.itertext())
    numbers = [float(n) for path in root.iter(SVG + "path") for n in re.findall(r"[ML ]?(-?\d+\.?\d*),", path.get("d"))]
    assert numbers == [] or max(numbers) <= width
    assert "nan" not in svg


def test_strips_lie_on_one_paper_and_their_frets_slant():
    where = each_along(NOTES.scale, NOTES.fret_x, NOTES.places, 8)
    nut = [one.on_paper(one.nut_x) for one in where]
    assert min(nut) == LEFT  # the bass nut lies foremost
    assert np.argmin(nut) == 7
    assert (np.diff(nut) < 0).all()
    last = [one.on_paper(one.fret_x[-1]) for one in where]
    assert (np.diff(last) > 0).all()
    square = [one.on_paper(one.fret_x[6]) for one in where]
    assert np.ptp(square) < 1e-6
    assert len({one.reduced for one in where}) == 1
    assert nut[0] - nut[7] == pytest.approx(1e3 * (NOTES.places[0].nut_x - NOTES.places[7].nut_x) / where[0].reduced)


def test_places_and_strips_have_to_go_together():
    with pytest.raises(InputError, match="8 strings"):
        each_along(NOTES.scale, NOTES.fret_x, NOTES.places, 6)
    with pytest.raises(InputError, match="in order"):
        each_along(0.6, (0.1,), (Places(0.2, 0.6, (0.1,)),), 1)
    assert each_along(0.6, (0.1, 0.2), (), 3) == (along(0.6, (0.1, 0.2)),) * 3


def test_the_found_readings_come_out_as_read_on_every_string():
    read = [one.si for one in JOB.found.string_height.amounts]
    shown = [row[11].value for row in HEIGHTS.states[0].heights]
    assert shown == pytest.approx(read, abs=5e-6)
    octave = [one.error.value for one in NOTES.states[0].octave]
    assert octave == pytest.approx([one.si for one in JOB.found.octave], abs=0.05)
    relief = next(one for one in HEIGHTS.states[0].relief if one.as_read)
    assert relief.value.value == pytest.approx(JOB.found.relief.value.si, rel=0.02)


def test_notes_of_a_fan_are_those_of_each_strings_own_straight_board():
    """The physics of one string knows no fan: the outer strings sound as on straight boards of their own scale, to what
    these boards' other necks and the other strings' other pull change (0.8 cents at fret 24; a false place is 2 mm)."""
    text = (EXAMPLES / "sanderling.instrument.toml").read_text()
    job = (EXAMPLES / "sanderling-lower.job.toml").read_text()
    for string, scale in ((0, '"25 1/2 in"'), (7, '"27 in"')):
        plain = re.sub(r"scale = \{.*\}", f"scale = {scale}", text)
        instrument = instrument_from_bytes(plain.encode(), "plain.instrument.toml")
        other = notes_of(job_from_bytes(job.encode(), "plain", instrument), samples=FEW)
        here = [one.value for one in NOTES.states[0].cents[string]]
        there = [one.value for one in other.states[0].cents[string]]
        assert here == pytest.approx(there, abs=0.8)


def test_the_plan_of_a_fanned_board_reaches_what_was_wanted():
    plan = plan_job(JOB)
    assert plan.best.chance_second > 0.9
    found = settle_found(problem_from(JOB)).problem
    assert found.traits.fanned
    assert read_instrument(EXAMPLES / "sanderling.instrument.toml").fan.square == 7
