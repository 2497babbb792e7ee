"""From job files to the planner's problem: what was read arrives where the planner looks for it."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.data import as_data, document
from setwright.bench.plans import left_out, plan_job, preferred_system, problem_from, reference_of
from setwright.errors import InputError
from setwright.instrument.files import instrument_from_bytes
from setwright.instrument.geometry import edge_gap, tilt_limits
from setwright.instrument.jobfile import job_from_bytes, read_job
from setwright.instrument.prior import vary
from setwright.planning.targets import Shim

EXAMPLES = Path(__file__).parents[2] / "examples"
KNIFE = '[instrument]\nname = "Ruff"\nscale = "25.5 in"\n[bridge]\nkind = "two-post knife edge"\n'
FIXED = '[instrument]\nname = "Smew"\nscale = "25.5 in"\n[bridge]\nkind = "fixed, six saddles"\n'
TENS = 'strings = [".010", ".013", ".017", ".026w", ".036w", ".046w"]\n'


def job(found="", want="", rest="", instrument=KNIFE):
    text = f'[job]\ntitle = "T"\ninstrument = "i"\n[found]\n{TENS}{found}\n[want]\n{want}\n{rest}'
    return job_from_bytes(text.encode(), "t.job.toml", instrument_from_bytes(instrument.encode(), "i"))


def test_settings_are_as_found():
    problem = problem_from(
        job(
            'claw_distance = ["9.5 mm", "10.5 mm"]\nsprings = 4\nattitude = "upright"\ntemperature = "25 C"\n'
            'shims = [{ thickness = ".010 in" }, { thickness = ".020 in" }, { kind = "flat", thickness = "1 mm" }]'
        )
    )
    s = problem.found.settings
    assert s.claw == pytest.approx([9.5e-3, 10.5e-3])
    assert s.springs.sum() == 4
    assert s.attitude == "upright"
    assert s.temperature == pytest.approx(298.15)
    assert float(s.strip) == pytest.approx(0.030 * 0.0254)
    assert float(s.flat) == pytest.approx(1e-3)
    assert float(s.wedge_shim) == 0.0
    assert problem.found.shims[2] == Shim("flat", 1e-3)
    assert np.isnan(s.block)
    assert np.isnan(s.unstretched).all()


def test_a_claw_not_read_is_anywhere_in_its_travel():
    problem = problem_from(job())
    low, high = problem.traits.claw.travel
    part = problem.known.parts[problem.known.index("claw.distance")]
    assert problem.found.settings.claw == pytest.approx([0.5 * (low + high)] * 2)
    assert part.sd == pytest.approx((high - low) / math.sqrt(12.0))
    assert "not read" in part.source


def test_a_claw_as_read_shifts_the_hooks_by_its_own_uncertainty():
    problem = problem_from(job('claw_distance = "9.5 mm ± 0.3 mm"'))
    place = problem.known.index("claw.distance")
    assert problem.known.parts[place].sd == pytest.approx(0.3e-3)
    assert "t.job.toml, found.claw_distance" in problem.known.parts[place].source
    deviations = np.zeros(len(problem.known.parts))
    deviations[place] = 1e-3
    moved = vary(problem.traits, problem.known, deviations)
    assert float(moved.claw.wall_x - problem.traits.claw.wall_x) == pytest.approx(1e-3)


def test_readings_carry_value_uncertainty_text_and_place():
    found = problem_from(
        job(
            'rear_gap = ["2 mm ± 0.1 mm", "3 mm ± 0.3 mm"]\n'
            'string_height = { fret = 14, treble = "1.5 mm ± 0.1 mm", bass = "2.5 mm ± 0.1 mm" }\n'
            'relief = { value = "0.2 mm ± 0.03 mm", hold = [1, 16], read = 7 }'
        )
    ).found
    gap, *heights, bend = found.readings
    assert (gap.quantity, gap.value, gap.text) == ("rear gap", pytest.approx(2.5e-3), "2 mm ± 0.1 mm, 3 mm ± 0.3 mm")
    assert gap.sd == pytest.approx(0.2e-3)
    assert gap.where == "t.job.toml, found.rear_gap"
    assert [h.string for h in heights] == list(range(6))
    assert {h.fret for h in heights} == {14}
    assert [h.value for h in heights] == pytest.approx(np.linspace(1.5e-3, 2.5e-3, 6))
    assert (bend.hold, bend.fret, bend.value, bend.sd) == ((1, 16), 7, pytest.approx(2e-4), pytest.approx(3e-5))


def test_pitches_as_found_go_before_the_tuning_and_slack_strings_have_none():
    off = 'pitches = ["E4 +5 c", "B3", "G3", "D3", "A2", "E2"]'
    assert problem_from(job(off)).found.hertz[0] == pytest.approx(329.6276 * 2 ** (5 / 1200), rel=1e-6)
    assert problem_from(job()).found.hertz[0] == pytest.approx(329.6276, rel=1e-6)
    assert problem_from(job('state = "slack"')).found.hertz is None


def test_the_same_set_is_one_instrument_and_another_set_has_parts_of_its_own():
    same = problem_from(job(want=TENS.replace('".010"', '"0.010 in"')))
    assert not same.new_strings
    assert same.wanted is same.traits
    other = problem_from(job(want='strings = [".012", ".016", ".020", ".032w", ".042w", ".054w"]\ntuning = '
                             '["D4", "A3", "F3", "C3", "G2", "D2"]'))  # fmt: skip
    assert other.new_strings
    assert other.wanted.strings.diameter[0] == pytest.approx(0.012 * 0.0254)
    names = [p.name for p in other.known.parts]
    assert {"wanted.axial[0]", "wanted.unit_mass[5]", "strings.axial[0]"} <= set(names)
    part = other.known.parts[names.index("wanted.unit_mass[5]")]
    assert part.path == "wanted.unit_mass"
    assert part.label == "unit mass of new string 6 (.054w)"
    deviations = np.zeros(len(names))
    deviations[names.index("wanted.unit_mass[5]")] = 0.1
    heavier = vary(other.wanted, other.known, deviations, wanted=True)
    assert heavier.strings.unit_mass[5] == pytest.approx(1.1 * other.wanted.strings.unit_mass[5])
    untouched = vary(other.traits, other.known, deviations)
    assert untouched.strings.unit_mass[5] == pytest.approx(other.traits.strings.unit_mass[5])


def test_saddle_room_replaces_the_patterns_room():
    alike = problem_from(job('saddle_room = { up = "4 mm", down = "0.5 mm" }')).traits.bridge.height_range
    assert alike == pytest.approx(np.array([-0.5e-3, 4e-3]))
    ups = '["1 mm", "2 mm", "3 mm", "4 mm", "5 mm", "6 mm"]'
    each = problem_from(job(f"saddle_room = {{ up = {ups} }}")).traits.bridge.height_range
    assert each.shape == (6, 2)
    assert each[:, 1] == pytest.approx(np.arange(1, 7) * 1e-3)
    usual = problem_from(job()).traits.bridge.height_range
    assert each[:, 0] == pytest.approx(np.full(6, usual[0]))


def test_pivots_as_read_go_before_the_instrument_file():
    problem = problem_from(job('pivot_height = ["7.0 mm ± 0.2 mm", "7.4 mm ± 0.2 mm"]'))
    assert problem.traits.bridge.pivot_y == pytest.approx([7.0e-3, 7.4e-3])
    part = problem.known.parts[problem.known.index("bridge.pivot_y")]
    assert part.sd == pytest.approx(0.2e-3)
    assert "found.pivot_height" in part.source


def test_a_blocked_plate_is_blocked_where_it_was_read_or_level():
    read = problem_from(job('bridge = "blocked"\nrear_gap = "2 mm"'))
    assert float(read.found.settings.block) == pytest.approx(2e-3)
    level = problem_from(job('bridge = "blocked"'))
    low, high = tilt_limits(level.traits, level.found.settings)
    assert low == pytest.approx(high, abs=1e-9)
    gap = edge_gap(level.traits, level.found.settings, np.asarray(low)).mean()
    assert float(level.found.settings.block) == pytest.approx(float(gap))
    assert float(low) == pytest.approx(0.0, abs=1e-9)


def test_targets_shelf_and_limits_are_as_written():
    problem = problem_from(
        job(
            "springs = 3",
            'bridge = "floating"\nrear_gap = "2.6 mm ± 0.2 mm"\npitch_tolerance = "1.5 c"\nradius = "12 in"\n'
            'string_height = { fret = 12, treble = "1.5 mm ± 0.1 mm", bass = "2.0 mm ± 0.3 mm" }\n'
            "up_bend = { string = 2, semitones = 3 }\nattitude = \"on its back\"\n",
            '[shop]\nshims = [{ thickness = "0.5 mm", count = 2 }, { kind = "wedge", thickness = ".020 in" }]\n'
            'springs = [{ kind = "usual", count = 1 }]\n[limits]\npeak = "80 c"\nstress = "70 %"',
        )
    )  # fmt: skip
    t = problem.targets
    assert (t.mode, t.gap, t.gap_tolerance) == ("floating", pytest.approx(2.6e-3), pytest.approx(0.2e-3))
    assert (t.pitch_tolerance, t.height_fret, t.attitude) == (1.5, 12, "on its back")
    assert t.heights == pytest.approx(np.linspace(1.5e-3, 2.0e-3, 6))
    assert t.height_tolerance == pytest.approx(0.1e-3)
    assert t.radius == pytest.approx(0.3048)
    assert (t.up_bend.string, t.up_bend.cents) == (1, 300.0)
    assert problem.shelf.shims == (Shim("strip", 5e-4), Shim("strip", 5e-4), Shim("wedge", pytest.approx(0.000508)))
    assert problem.shelf.spring_counts == (2, 3, 4)
    assert (problem.limits.peak, problem.limits.stress) == (80.0, pytest.approx(0.7))


def test_heights_not_wanted_stay_as_found_and_unread_ones_are_free():
    read = 'string_height = { fret = 15, treble = "1.5 mm", bass = "2.0 mm" }'
    kept = problem_from(job(read)).targets
    assert kept.heights == pytest.approx(np.linspace(1.5e-3, 2.0e-3, 6))
    assert (kept.height_fret, kept.height_tolerance) == (15, pytest.approx(0.25e-3))
    assert problem_from(job()).targets.heights is None


def test_a_fixed_bridge_has_neither_claw_nor_springs():
    problem = problem_from(job(instrument=FIXED))
    assert problem.found.mode == problem.targets.mode == "fixed"
    assert problem.found.settings.springs.sum() == 0
    assert "claw.distance" not in [p.name for p in problem.known.parts]
    assert problem.shelf.spring_counts


@pytest.mark.parametrize(
    ("written", "system"),
    [
        ('rear_gap = "2 mm"', "mm"),
        ('rear_gap = "3/32 in"', "inch"),
        ('rear_gap = "3/32 in"\nclaw_distance = ["9 mm", "9 mm"]', "mm"),
        ('string_height = { fret = 12, treble = "5/64 in", bass = "3/32 in" }\nrear_gap = "2 mm"', "inch"),
        ('relief = { value = ".010 in" }', "inch"),
        ("", "mm"),
    ],
)
def test_answers_come_in_the_units_of_the_job(written, system):
    assert preferred_system(job(written)) == system


def test_what_planning_leaves_out_is_said():
    shop = '[shop]\nsprings = [{ kind = "strong", count = 2 }, { kind = "usual", count = 1 }]'
    assert "(strong)" in left_out(job(rest=shop))[0]
    assert left_out(job()) == ()
    bend = 'relief = { value = ".010 in" }'
    assert "truss rod" in left_out(job(want=bend))[0]
    assert left_out(job(bend, bend)) == ()


def test_a_plan_carries_the_remarks_of_its_job():
    plan = plan_job(read_job(EXAMPLES / "plover-dive.job.toml"), samples=64)
    assert any("strong" in text for text in plan.remarks)


@dataclass(frozen=True)
class Leaf:
    value: float
    array: np.ndarray


def test_data_is_plain_and_says_null_where_there_is_no_number():
    given = {"a": Leaf(math.inf, np.array([1.0, math.nan])), 2: (True, None, "x", np.float64(0.5), np.int64(3))}
    assert as_data(given) == {"a": {"value": None, "array": [1.0, None]}, "2": [True, None, "x", 0.5, 3]}
    assert document("plan", 1) == {"document": "plan", "version": 1, "plan": 1}
    with pytest.raises(TypeError, match="complex"):
        as_data(1j)


def test_claw_turns_are_not_counted_from_a_claw_nobody_read():
    with pytest.raises(InputError, match="claw_distance: not read"):
        plan_job(job('bridge = "decked"', 'bridge = "floating"'), samples=32)


def test_the_reference_is_what_every_string_goes_by():
    standard = [329.6276, 246.9417, 195.9977, 146.8324, 110.0, 82.4069]
    assert reference_of(standard) == pytest.approx(440.0, abs=1e-3)
    assert reference_of([one * 442.0 / 440.0 for one in standard]) == pytest.approx(442.0, abs=1e-3)
    assert reference_of([standard[0] * 1.01, *standard[1:]]) == 440.0  # one string by itself is no reference


HEIGHTS = 'string_height = { fret = 14, treble = "2 mm", bass = "2.4 mm" }\n'


def test_a_clean_stroke_is_the_players_own_unless_given_and_frees_the_heights():
    plain = problem_from(job(HEIGHTS)).targets
    assert plain.clean is None
    assert plain.heights is not None
    own = problem_from(job(HEIGHTS, "clean = true"))
    player = own.traits.playing
    assert (own.targets.clean.force, own.targets.clean.place) == (float(player.pluck_force), float(player.pluck_place))
    assert (own.targets.heights, own.targets.height_fret, own.targets.lowest) == (None, 14, True)
    given = problem_from(job(HEIGHTS, 'clean = true\nstroke = { force = "1 N", place = "10 %" }\n' + HEIGHTS)).targets
    assert (given.clean.force, given.clean.place) == (1.0, pytest.approx(0.1))
    assert given.heights == pytest.approx([2e-3 + 0.4e-3 * i / 5 for i in range(6)])
    assert not given.lowest


def test_the_end_of_a_plan_is_data_too():
    found = read_job(EXAMPLES / "wigeon-reradius.job.toml")
    end = document("plan", plan_job(found, 32))["plan"]["best"]["end"]
    assert set(end) == {"settings", "tilt", "bow", "hertz"}
    assert end["hertz"] == pytest.approx([one.si for one in found.want.tuning])
    assert len(end["settings"]["saddle_rise"]) == 6
    assert end["settings"]["prop"] is None
