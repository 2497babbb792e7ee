"""A balance tried out: against what was read, against an energy of its own, by what the trade knows, place by place."""

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setwright.bench import balance_along
from setwright.bench.balance_along import along, interpolated, plain
from setwright.bench.balance_scene import balance_scene
from setwright.bench.balance_try import Tries, figures, laid_out, states, tried, worked
from setwright.bench.believed import FIXED, believed, believed_of
from setwright.bench.journals import keep
from setwright.bench.whatif import Changes, what_if
from setwright.cli import balance_words
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job
from setwright.instrument.string_sets import gauge
from setwright.sheets import tilting, tried_bands
from tests.cli.midway import job_midway
from tests.judges import energy

EXAMPLES = Path(__file__).parents[2] / "examples"
FEW = 32
HEAVIER = (".011", ".014", ".018", ".028w", ".038w", ".049w")


def job_of(name):
    return str(EXAMPLES / f"{name}.job.toml")


@pytest.fixture(scope="module")
def lapwing():
    return believed(job_of("lapwing-pull"), samples=FEW)


@pytest.fixture(scope="module")
def knot():
    return believed(job_of("knot-too-weak"), samples=FEW)


def ask(one, **tries):
    changes = {key: tries.pop(key) for key in ("claw", "springs", "pivots", "attitude", "temperature") if key in tries}
    return tried(one, Tries(Changes(**changes), **tries))


def values(each):
    return np.array([one.value for one in each])


def test_before_anything_is_tried_it_is_as_it_was_read(lapwing):
    found = ask(lapwing)
    assert found.when == "as found"
    assert found.alone.gap.value == pytest.approx(2.0e-3, abs=1e-5)  # rear_gap = "2.0 mm ± 0.1 mm" of the job file
    assert values(found.alone.cents) == pytest.approx([1, -1, 0, 1, -1, 0], abs=0.02)  # its pitches
    assert (found.alone.rest, found.springs, found.attitude) == ("floats", (1, 3, 5), "playing")
    assert found.claw.value == pytest.approx(16.95e-3, abs=0.5e-3)
    assert found.gap == (pytest.approx(4e-3), pytest.approx(0.25e-3))


@pytest.mark.parametrize("turns", [-0.5, 0.125, 1.0])
def test_a_claw_turn_does_what_predict_says(lapwing, turns):
    other = what_if(read_job(job_of("lapwing-pull")), Changes(claw=(turns, turns)), FEW)
    found = ask(lapwing, claw=(turns, turns))
    assert found.alone.gap.value == pytest.approx(other.pegs_fixed.rear_gap[0].value, abs=2e-6)
    assert found.alone.tilt.value == pytest.approx(other.pegs_fixed.tilt.value, abs=1e-6)


@pytest.mark.parametrize(("claw", "springs"), [(0.0, None), (0.25, None), (-1.0, None), (1.0, 2), (0.0, 1)])
def test_the_plate_rests_where_its_energy_is_least(lapwing, claw, springs):
    laid = laid_out(lapwing, Tries(Changes(claw=(claw, claw), springs=springs)))
    rig, state = states(laid, np.zeros(1)).alone
    judged = energy.rest(energy.one(rig, 0), float(laid.start[0]))
    assert float(state.tilt[0]) == pytest.approx(judged.tilt, abs=2e-6)  # a hundredth of a millimetre is 3e-4 rad


def test_moments_add_up_to_what_the_stop_carries(lapwing):
    for claw in (-0.5, 0.0, 0.5, 2.0):
        found = ask(lapwing, claw=(claw, claw))
        for one in (found.alone, found.retuned):
            free = sum(pull.moment.value for pull in one.pulls if pull.name != "stop")
            pressed = sum(pull.moment.value for pull in one.pulls if pull.name == "stop")
            assert free + pressed == pytest.approx(0.0, abs=1e-4)  # of some 3 N m
            assert (pressed == 0.0) == (one.rest == "floats")


def test_what_the_trade_knows(lapwing):
    """Claw in, a spring more: the plate goes down and the strings up. Common practice, no source."""
    now = ask(lapwing)
    for more in (ask(lapwing, claw=(0.25, 0.25)), ask(lapwing, springs=4)):
        assert more.alone.gap.value < now.alone.gap.value
        assert (values(more.alone.cents) > values(now.alone.cents)).all()
    low = ask(lapwing, tuning=tuple(0.9 * hz for hz in now.wanted))
    assert low.retuned.gap.value < now.retuned.gap.value
    assert low.retuned.total.value < now.retuned.total.value
    hung = ask(lapwing, attitude="on its back")
    assert [pull.name for pull in hung.alone.pulls] == ["strings", "springs", "weight"]
    assert [pull.name for pull in now.alone.pulls] == ["strings", "springs"]


@pytest.mark.slow
def test_heavier_strings_pull_the_plate_up_and_hold_no_pitch_yet(lapwing):
    found = ask(lapwing, strings=tuple(gauge(one) for one in HEAVIER))
    assert found.alone is None
    assert found.retuned.total.value > 1.2 * ask(lapwing).retuned.total.value
    assert found.retuned.rest in ("upper stop", "runs away")
    assert any("holds no pitch yet" in text for text in found.remarks)
    with pytest.raises(InputError, match="the set has 3 strings, the instrument has 6"):
        ask(lapwing, strings=tuple(gauge(one) for one in HEAVIER[:3]))
    with pytest.raises(InputError, match="the tuning has 2 notes, the instrument 6 strings"):
        ask(lapwing, tuning=(329.6, 246.9))


def test_a_string_near_its_limit_is_told_with_its_caution(lapwing):
    told = " ".join(ask(lapwing, tuning=tuple(1.3 * hz for hz in lapwing.wanted)).remarks)
    assert "of its breaking load, 80 % is the limit" in told
    assert "keep your face away" in told


@pytest.mark.slow
def test_springs_at_places_of_ones_own(lapwing):
    usual, other = ask(lapwing, springs=2), ask(lapwing, hooks=(1, 2))
    assert (usual.springs, other.springs) == ((2, 4), (1, 2))
    assert other.alone.gap.value == pytest.approx(usual.alone.gap.value, abs=0.3e-3)  # they pull alike, slanting more
    with pytest.raises(InputError, match="no place 9 for a spring"):
        ask(lapwing, hooks=(1, 9))
    with pytest.raises(InputError, match="named twice"):
        ask(lapwing, hooks=(1, 1))
    none = ask(lapwing, springs=0)
    assert none.springs == ()
    assert none.retuned.rest == "runs away"


@pytest.mark.slow
def test_unstable_and_stopped_balances_are_told_apart(lapwing):
    assert ask(lapwing, springs=1).retuned.rest == "runs away"
    assert ask(lapwing, claw=(2.0, 2.0)).alone.rest == "lower stop"
    assert ask(lapwing, claw=(-6.0, -6.0)).retuned.rest == "upper stop"
    assert ask(lapwing, claw=(2.0, 2.0)).retuned.shares == (0.0, 1.0, 0.0)
    with pytest.raises(InputError, match="the claw would stand"):
        ask(lapwing, claw=(30.0, 30.0))


def test_pivots_up_and_too_far(lapwing):
    lead = float(lapwing.plain.bridge.pivot_lead)
    up = ask(lapwing, pivots=(0.25, 0.25))
    assert up.alone.gap.value > ask(lapwing).alone.gap.value + 0.1 * lead * 0.25
    with pytest.raises(InputError, match="a pivot would stand"):
        ask(lapwing, pivots=(40.0, 40.0))


def test_nothing_to_balance_on_a_fixed_bridge():
    for name in ("sanderling-lower", "curlew-low"):  # the second is a bass
        with pytest.raises(InputError) as told:
            believed(job_of(name))
        assert str(told.value) == FIXED


def test_where_no_plan_will_do_it_can_be_tried_all_the_same(knot):
    assert ask(knot).alone.gap.value == pytest.approx(2.4e-3, abs=1e-5)
    assert ask(knot, claw=(-1.0, -1.0)).alone.gap.value > 2.5e-3


def test_in_the_middle_of_a_balance_it_stands_as_the_journal_explains(tmp_path):
    job = job_midway(tmp_path)
    one = believed(str(job), samples=FEW)
    assert one.when.startswith("as believed after #")
    assert one.pegs
    heard = {2: -72.3, 3: -46.1, 4: -56.1, 5: -74.1}  # as the journal ends, ± 0.5 c
    found = tried(one, Tries())
    for string, cents in heard.items():
        assert found.alone.cents[string].value == pytest.approx(cents, abs=2.0)
    assert "The wedge is taken to be out." in found.remarks
    assert found.gap == (pytest.approx(2.6e-3, abs=1e-6), pytest.approx(0.25e-3))


@pytest.mark.slow
def test_with_screws_turned_and_strings_not_heard_only_what_comes_at_pitch_is_told(tmp_path):
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    job = str(tmp_path / "kestrel-float.job.toml")
    before = tried(believed(job, samples=FEW), Tries())
    for line in ("did step slacken", "did strip shim in .030 in", "did pivot up 2 turns", "did springs 3"):
        keep(job, line.split())
    one = believed(job, samples=FEW)
    assert one.when == "as noted up to #4 of the journal"
    found = tried(one, Tries())
    assert found.alone is None
    assert before.alone is not None
    assert found.retuned.gap.value == 0.0  # the springs of a decked plate still hold it down
    assert float(one.noted.pivot_rise[0]) == pytest.approx(2.0 * float(one.plain.bridge.pivot_lead))
    assert any("Not every string was heard" in text for text in found.remarks)


def of_example(folder, name, instrument):
    for file in (f"{name}.job.toml", f"{instrument}.instrument.toml"):
        shutil.copy(EXAMPLES / file, folder / file)
    return str(folder / f"{name}.job.toml")


@pytest.mark.slow
def test_a_journal_where_no_plan_will_do_or_nothing_floats(tmp_path):
    knot = of_example(tmp_path, "knot-too-weak", "knot")
    keep(knot, ["note", "asked for more springs"])
    assert believed(knot, samples=FEW).when == "as found"
    plover = of_example(tmp_path, "plover-dive", "plover")
    keep(plover, ["did", "claw", "in", "1/2", "turn"])
    one = believed(plover, samples=FEW)
    assert (one.pegs, one.gap) == (False, None)  # only down: no rear gap is wanted
    lead = float(one.plain.claw.lead)
    assert float(one.noted.claw.mean()) == pytest.approx(14.7e-3 - 0.5 * lead, abs=1e-9)  # claw_distance of its file


def test_left_blocked_or_propped_it_is_tried_free(tmp_path):
    text = Path(job_of("kestrel-float")).read_text()
    blocked = text.replace('bridge = "decked"', 'bridge = "blocked"', 1)
    assert blocked != text
    (tmp_path / "k.job.toml").write_text(blocked)
    (tmp_path / "kestrel.instrument.toml").write_bytes((EXAMPLES / "kestrel.instrument.toml").read_bytes())
    one = believed(str(tmp_path / "k.job.toml"), samples=FEW)
    assert "The block is taken to be out." in one.remarks
    assert not np.isfinite(one.settings.block).any()


def test_found_slack_it_is_told_at_pitch_alone(tmp_path):
    job = read_job(job_of("lapwing-pull"))
    slack = replace(job, found=replace(job.found, state="slack", rear_gap=None, relief=None, string_height=None))
    one = believed_of(slack, samples=FEW)
    assert (one.pegs, one.when) == (False, "as found, strings slack")


def clear(line, at):
    """Places that are not inside an edge, where one side or the other may be told."""
    i = np.clip(np.searchsorted(line.turns, at, side="right") - 1, 0, len(line.turns) - 2)
    return line.turns[i + 1] - line.turns[i] > balance_along.EDGE


class TestAlong:
    @pytest.mark.slow
    def test_between_its_places_it_is_the_model(self, lapwing, knot):
        """At places of its own choosing the model is asked from where the plate stands now, not from nearby."""
        for one in (lapwing, knot):
            laid = laid_out(one, Tries())
            line = along(laid)
            first = balance_along._first(laid)
            at = np.sort(np.random.default_rng(3).uniform(line.turns[0], line.turns[-1], 60))
            true = states(first, at)
            for found, pair in ((line.alone, true.alone), (line.retuned, true.retuned)):
                exact = figures(first, *pair)
                for name, close in (("gap", 1e-5), ("cents 1", 0.1), ("cents 6", 0.1), ("up 3", 0.5), ("tilt", 3e-4)):
                    miss = np.abs(interpolated(line.turns, found.values[name], at) - exact[name])[clear(line, at)]
                    assert np.nanmax(miss) < close, name

    @pytest.mark.slow
    def test_what_it_says_of_itself_is_no_smaller_than_it_is(self, lapwing):
        line = along(laid_out(lapwing, Tries()))
        assert 0.0 < line.alone.off["gap"] < 5e-6
        assert 0.0 < line.alone.off["cents"] < 0.05

    @pytest.mark.slow
    def test_an_unstable_balance_jumps_at_its_edge_and_is_the_model_beside_it(self, lapwing):
        laid = laid_out(lapwing, Tries(Changes(springs=2)))
        line, first = along(laid), balance_along._first(laid)
        assert {"runs away", "lower stop"} <= set(line.retuned.rests)
        assert line.retuned.off["gap"] < 5e-5  # half a tenth of a millimetre; the page says so
        at = np.linspace(line.turns[0], line.turns[-1], 31)[1:-1]
        exact = figures(first, *states(first, at).retuned)["gap"]
        miss = np.abs(interpolated(line.turns, line.retuned.values["gap"], at) - exact)[clear(line, at)]
        assert np.max(miss) < 1e-4  # a tenth of a millimetre, of a jump of 23 mm

    @pytest.mark.slow
    def test_where_the_plate_meets_the_body_there_is_an_edge(self, lapwing):
        line = along(laid_out(lapwing, Tries()))
        kinds = line.alone.rests
        change = next(i for i in range(len(kinds) - 1) if kinds[i] != kinds[i + 1])
        assert (kinds[change], kinds[change + 1]) == ("floats", "lower stop")
        assert line.turns[change + 1] - line.turns[change] < 1 / 64  # finer than a hand turns
        below = tried(lapwing, Tries(Changes(claw=(line.turns[change] - 0.01,) * 2)))
        above = tried(lapwing, Tries(Changes(claw=(line.turns[change + 1] + 0.01,) * 2)))
        assert (below.alone.rest, above.alone.rest) == ("floats", "lower stop")

    def test_a_value_across_an_edge_keeps_to_its_own_side(self):
        turns = np.array([0.0, 1.0, 2.0, 2.004, 3.0, 4.0])
        bent = np.array([0.0, 1.0, 2.0, 2.0, 2.0, 2.0])
        assert interpolated(turns, bent, np.array([0.5, 1.5, 2.5, 3.5])) == pytest.approx([0.5, 1.5, 2.0, 2.0])
        parabola = np.array([0.0, 1.0, 4.0, 9.0])
        assert interpolated(np.arange(4.0), parabola, np.array([1.5])) == pytest.approx([2.25])
        assert np.isnan(interpolated(np.arange(3.0), np.array([0.0, np.nan, 1.0]), np.array([0.5])))[0]

    @pytest.mark.slow
    def test_as_json_it_holds_numbers_and_nothing_else(self, lapwing):
        told = json.loads(json.dumps(plain(along(laid_out(lapwing, Tries(Changes(springs=2))))), allow_nan=False))
        assert told["turns"] == sorted(told["turns"])
        assert told["turns"][0] <= 0.0 <= told["turns"][-1]
        assert len(told["alone"]["values"]["gap"]) == len(told["turns"])
        assert all(half >= 0.0 for half in told["retuned"]["halves"]["gap"])
        assert set(told["retuned"]["rests"]) <= {"floats", "lower stop", "upper stop", "runs away"}
        new = laid_out(lapwing, Tries(strings=tuple(gauge(one) for one in HEAVIER)))
        assert plain(along(new))["alone"] is None

    def test_the_screws_end_where_the_claw_is_out_of_room(self, lapwing):
        laid = laid_out(lapwing, Tries())
        out, into = laid.room
        low, high = (float(one) for one in np.asarray(lapwing.plain.claw.travel))
        assert float(laid.noted.claw.max()) - out * laid.lead == pytest.approx(high)
        assert float(laid.noted.claw.min()) - into * laid.lead == pytest.approx(low)


class TestDrawn:
    def test_left_handed_it_is_drawn_turned_over(self, lapwing):
        other = replace(lapwing, job=replace(lapwing.job, instrument=replace(lapwing.job.instrument, handed="left")))
        drawn = [
            balance_scene(worked(one, Tries()), "alone", "mm", "Floats", "Claw as it is") for one in (lapwing, other)
        ]
        place = [float(re.search(r'class="bridge" data-px="([\d.]+)"', svg)[1]) for svg in drawn]
        assert place[0] + place[1] == pytest.approx(tilting.WIDTH, abs=1e-3)
        turn = [float(re.search(r'data-turn-x="(-?[\d.]+)"', svg)[1]) for svg in drawn]
        assert turn[0] < 0.0 < turn[1]  # in is towards the neck
        assert turn[0] == pytest.approx(-turn[1])

    @pytest.mark.parametrize("handed", ["right", "left"])
    def test_the_scale_of_the_rear_gap_stands_clear_of_the_bridge(self, lapwing, handed):
        other = replace(lapwing, job=replace(lapwing.job, instrument=replace(lapwing.job.instrument, handed=handed)))
        svg = balance_scene(worked(other, Tries()), "alone", "mm", "Floats", "Claw as it is")
        (bridge, scale) = (
            part.split("</g>")[0] for part in (svg.partition('class="claw"')[2], svg.partition('class="gap')[2])
        )
        grip = float(re.search(r'cx="([\d.]+)" cy="[\d.]+" r="8', bridge)[1])
        slot = float(re.search(r'class="slot" x="([\d.]+)"', scale)[1])
        words = [float(at) for at in re.findall(r'<text x="([\d.]+)"', scale)]
        spots = [slot, slot + 10.0, *words]
        if handed == "right":
            assert min(spots) > grip + 8.0
        else:
            assert max(spots) < grip - 8.0
        assert all(0.0 < one < tilting.WIDTH for one in spots)
        axis = [float(one) for one in re.findall(r"M([\d.]+) [\d.]+ L\1 ", scale)]
        plate = [float(one) for one in re.findall(r"[ML]([\d.]+) ", svg.partition('class="plate"')[2].split("</g>")[0])]
        assert axis
        assert all((one > max(plate)) if handed == "right" else (one < min(plate)) for one in axis)

    def test_the_rear_gap_is_drawn_as_wide_as_it_is_uncertain(self, lapwing):
        found = worked(lapwing, Tries())
        svg = balance_scene(found, "alone", "mm", "Floats", "Claw as it is")
        box = svg[svg.index('class="gap') :]
        per, zero = (float(re.search(rf'data-{name}="([\d.]+)"', box)[1]) for name in ("per", "zero"))
        top, tall = re.search(r'class="band" x="[\d.]+" y="([\d.]+)" width="6" height="([\d.]+)"', box).groups()
        assert float(tall) == pytest.approx(2.0 * per * found.result.alone.gap.half_width, abs=0.01)
        assert zero - float(top) - 0.5 * float(tall) == pytest.approx(per * 2.0e-3, abs=0.02)  # the gap as read
        slot = re.search(r'class="slot" x="[\d.]+" y="([\d.]+)" width="10" height="([\d.]+)"', box).groups()
        assert float(slot[1]) == pytest.approx(2.0 * per * 0.25e-3, abs=0.02)  # ± 0.25 mm
        assert 'class="gap"' in svg
        there = replace(found, result=replace(found.result, gap=(2.0e-3, 0.25e-3)))
        there = balance_scene(there, "alone", "inch", "Floats", "Claw as it is")
        assert 'class="gap rests"' in there
        assert "1/32 in" in there

    def test_a_spring_ends_where_claw_and_hook_are(self):
        points = [
            tuple(map(float, pair.split())) for pair in tilting.coil((0.0, 0.0), (40.0, 30.0), 2.0)[1:].split(" L")
        ]
        assert (points[0], points[-1]) == ((0.0, 0.0), (40.0, 30.0))
        off = [abs(0.6 * x - 0.8 * y) for x, y in points[1:-1]]  # from the line between them, by hand
        assert off == pytest.approx([2.0] * len(off), abs=0.02)

    def test_pitches_stand_on_a_rule_even_about_nought(self):
        x = tried_bands.across
        assert x(1.0) - x(0.0) == pytest.approx(x(0.0) - x(-1.0))
        assert x(10.0) - x(9.0) < 0.5 * (x(1.0) - x(0.0))
        assert x(9999.0) == x(tried_bands.MOST)
        svg = tried_bands.draw_pitches("t", [tried_bands.Pitch("1 E4", float("nan"), 0.0)], 2.0)
        assert "1 E4: slack" in svg


@pytest.mark.slow
def test_how_it_rests_in_words(lapwing):
    out = balance_words.rest_words(ask(lapwing, springs=1).retuned)
    assert out == "Runs away, block at the rear cavity wall"
    edge = ask(lapwing, claw=(-3.0, -3.0)).retuned
    assert edge.rest == "floats"
    assert edge.shares[0] == pytest.approx(1.0 - edge.shares[2])
    assert "it is pulled up to its upper stop" in balance_words.share_words(edge)
    assert balance_words.share_words(ask(lapwing).alone) == ""
    typed = {"pivots": "+1/8", "strings": ".010", "tuning": "standard", "attitude": "upright"}
    told = balance_words.tried_words(ask(lapwing, pivots=(0.125, 0.125), attitude="upright"), typed)
    assert told.startswith(
        "pivots +1/8 turn, strings .009 .011 .016 .024w .032w .042w, tuning E4 B3 G3 D3 A2 E2, upright;"
    )
    assert balance_words.tried_words(ask(lapwing), {}).startswith("as it is; floats, rear gap at pitch 2.00")
    assert balance_words.hung(()) == "none"
