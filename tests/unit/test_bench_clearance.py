"""Clearance: against the triangle drawn by hand, and by what has to hold of strokes, heights and bends."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.clearance import StringReach, clearance_drawing, clearance_of, reach_words, stroke_words
from setwright.bench.heights import heights_of
from setwright.bench.plans import plan_job
from setwright.bench.standing import Banded
from setwright.bench.whatif import Changes, what_if
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job
from setwright.instrument.traits import usual_playing

EXAMPLES = Path(__file__).parents[2] / "examples"
WIGEON = read_job(EXAMPLES / "wigeon-reradius.job.toml")
LAPWING = read_job(EXAMPLES / "lapwing-pull.job.toml")
FEW = 40


def lowered(job, metres):
    heights = job.found.string_height
    amounts = tuple(replace(one, si=metres) for one in heights.amounts)
    return replace(job, found=replace(job.found, string_height=replace(heights, amounts=amounts)))


def test_with_next_to_no_stroke_the_open_string_clears_by_its_height():
    soft = clearance_of(WIGEON, force=1e-9, samples=FEW).states[0]
    heights = heights_of(WIGEON, samples=FEW).states[0].heights
    for one, row in zip(soft.strings, heights, strict=True):
        assert one.nearest[0].clearance.value == pytest.approx(min(v.value for v in row), abs=2e-6)
        assert one.nearest[0].touches == 0.0


def test_the_envelope_is_the_triangle_drawn_by_hand():
    # open string 1: a = F p (1 - p) L / T at the pluck; its mirror corner lies at p L from the nut, straight beyond, so
    # over fret n it comes down by a (1 - x/L)/(1 - p)
    force, place = 0.5, 0.15
    result = clearance_of(WIGEON, force, place, samples=FEW)
    heights = heights_of(WIGEON, samples=FEW)
    length = heights.states[0].saddle_x[0]
    tension = what_if(WIGEON, Changes(), FEW).before.tension[0].value
    a = force * place * (1 - place) * length / tension
    x = np.array(result.fret_x)
    dip = a * np.minimum(x / (place * length), (1 - x / length) / (1 - place))
    clear = np.array([v.value for v in heights.states[0].heights[0]]) - dip
    nearest = result.states[0].strings[0].nearest[0]
    assert nearest.clearance.value == pytest.approx(clear.min(), abs=5e-6)
    assert nearest.ahead == int(clear.argmin()) + 1


def test_the_hardest_clean_stroke_just_touches():
    clean = clearance_of(WIGEON, 0.1, 0.15, samples=FEW).states[0].strings[2].clean_to.value
    least = [
        min(n.clearance.value for n in clearance_of(WIGEON, f * clean, 0.15, samples=FEW).states[0].strings[2].nearest)
        for f in (0.99, 1.0, 1.01)
    ]
    assert least[0] > 0.0 > least[2]
    assert least[1] == pytest.approx(0.0, abs=1e-8)


def test_at_the_lowest_height_told_the_stroke_just_clears():
    told = clearance_of(WIGEON, 0.4, 0.15, samples=FEW).states[0].strings
    heights = WIGEON.found.string_height
    amounts = tuple(replace(a, si=s.lowest.value) for a, s in zip(heights.amounts, told, strict=True))
    low = replace(WIGEON, found=replace(WIGEON.found, string_height=replace(heights, amounts=amounts)))
    for one in clearance_of(low, 0.4, 0.15, samples=FEW).states[0].strings:
        assert min(n.clearance.value for n in one.nearest) == pytest.approx(0.0, abs=1.5e-5)


def test_the_band_of_a_height_is_at_least_that_of_its_reading():
    found = clearance_of(WIGEON, 0.4, samples=200).states[0].strings
    for one, amount in zip(found, WIGEON.found.string_height.amounts, strict=True):
        assert 1.6 * amount.band < one.height.half_width < 2.6 * amount.band  # 1.96 of a Gaussian, from 200 draws
    blind = replace(WIGEON, found=replace(WIGEON.found, string_height=None))
    assert clearance_of(blind, 0.4, samples=FEW).states[0].strings[0].height.half_width > 0.5e-3


def test_turns_are_the_way_down_over_the_lead():
    for one in clearance_of(WIGEON, 0.4, samples=FEW).states[0].strings:
        assert one.turns.value == pytest.approx(one.down.value / 0.5e-3)  # half a millimetre per turn
        assert one.room == pytest.approx(3e-3)  # saddle_room of the job
        assert one.enough == (one.down.value <= 3e-3)


def test_a_harder_stroke_needs_more_height_and_touches_more():
    soft, hard = (clearance_of(WIGEON, f, 0.15, samples=FEW).states[0].strings for f in (0.4, 1.2))
    for a, b in zip(soft, hard, strict=True):
        assert b.lowest.value > a.lowest.value
        assert b.clean_to.value == pytest.approx(a.clean_to.value)
        assert all(m.clearance.value <= n.clearance.value for n, m in zip(a.nearest, b.nearest, strict=True))
    assert hard[0].nearest[1].touches == 1.0


def test_the_players_stroke_is_taken_unless_another_is_given():
    own, usual = clearance_of(WIGEON, samples=FEW), usual_playing()
    assert (own.force.value, own.place.value) == (float(usual.pluck_force), float(usual.pluck_place))
    assert own.force.half_width > 0.0
    assert any("square to the board" in text for text in clearance_of(WIGEON, 1.2, samples=FEW).remarks)
    given = clearance_of(WIGEON, 0.2, 0.1, samples=FEW)
    assert (given.force, given.place) == (Banded(0.2, 0.0), Banded(0.1, 0.0))
    assert given.remarks == ()
    assert stroke_words(given) == "0.2 N square to the board, at 10 % of the open string from the saddle"
    assert "±" in stroke_words(own)


def test_low_strings_choke_when_bent_on_a_round_board_and_high_ones_do_not():
    assert clearance_of(WIGEON, 0.2, samples=FEW).states[0].chokes == ()
    chokes = clearance_of(lowered(WIGEON, 0.75e-3), 0.1, samples=FEW).states[0].chokes
    assert chokes
    for one in chokes:
        assert one.ahead > one.fret >= 5
        assert one.cents % 25.0 == 0.0
        assert 0.0 < one.share <= 1.0
    assert list(chokes) == sorted(chokes, key=lambda c: (c.string, c.fret))


def test_after_the_plan_lower_strings_clear_less():
    first, then = clearance_of(WIGEON, 0.3, plan=True, samples=FEW).states
    assert then.strings[2].height.value < first.strings[2].height.value
    assert then.strings[2].clean_to.value < first.strings[2].clean_to.value


def test_a_board_of_24_frets_keeps_the_stroke_behind_its_last():
    result = clearance_of(LAPWING, samples=200)
    assert result.frets == 24
    assert len(result.states[0].strings[0].nearest) == 24


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"force": 0.0}, "--force: 0 N is no stroke"),
        ({"force": 21.0}, "at most 20 N"),
        ({"place": 0.001}, "give 1 to 27 %"),
        ({"place": 0.4}, "behind the last fret"),
    ],
)
def test_strokes_that_nobody_makes_are_refused(asked, words):
    with pytest.raises(InputError, match=words):
        clearance_of(WIGEON, samples=FEW, **asked)


def test_slack_strings_are_refused():
    with pytest.raises(InputError, match="at pitch"):
        clearance_of(replace(WIGEON, found=replace(WIGEON.found, state="slack", octave=None)), samples=FEW)


def reach(down, lead=0.5e-3, enough=True):
    zero = Banded(0.0, 0.0)
    return StringReach(1, (), Banded(0.83, 0.1), zero, zero, Banded(down, 0.0), Banded(down / lead, 0.0), 3e-4, enough)


def test_words_for_a_saddle():
    assert reach_words(reach(0.5e-3), "mm") == ("clean up to 0.8 N", "saddle 1 turn down (0.50 mm)")
    assert reach_words(reach(-0.25e-3), "inch")[1] == "saddle 1/2 turn up (.010 in)"
    assert reach_words(reach(1e-6), "mm")[1] == "saddle as low as it goes clean"
    assert reach_words(reach(-1e-3, enough=False), "mm")[2] == "but the top of its room is 0.30 mm away"


def test_the_drawing_marks_what_touches():
    drawn = clearance_drawing(clearance_of(WIGEON, 1.2, 0.15, samples=FEW), "mm")
    assert "touches 4" in drawn
    assert ">touches 4<" not in clearance_drawing(clearance_of(WIGEON, 0.1, 0.15, samples=FEW), "mm")


def test_the_drawing_marks_bends_that_die():
    result = clearance_of(lowered(WIGEON, 0.75e-3), 0.1, samples=FEW)
    assert "a bend from there dies" in clearance_drawing(result, "mm")
    assert f">{result.states[0].chokes[0].cents:.0f} c<" in clearance_drawing(result, "mm")
    assert "a bend from there dies" not in clearance_drawing(clearance_of(WIGEON, 0.2, samples=FEW), "mm")


def test_a_plan_that_stays_clean_is_seen_to():
    job = read_job(EXAMPLES / "curlew-low.job.toml")
    found, then = clearance_of(job, 1.0, 0.12, plan=True, samples=FEW).states
    told = [one for one in plan_job(job, 512).best.targets if one.quantity == "least clearance"]
    for before, after, line in zip(found.strings, then.strings, told, strict=True):
        least = min(near.clearance.value for near in after.nearest)
        assert least == pytest.approx(line.predicted, abs=1e-6)
        assert least >= 0.0
        assert after.height.value < before.height.value


def test_the_plan_is_made_once(monkeypatch):
    import setwright.planning.search as search

    made = []
    weigh = search.weigh
    monkeypatch.setattr(search, "weigh", lambda *given: made.append(1) or weigh(*given))
    clearance_of(WIGEON, plan=True, samples=FEW)
    assert made == [1]
