"""The next step from the journal: replay against the driver, what is left of the hardware, what does not count."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.guided import guided, told, wanting
from setwright.bench.next_step import balanced, next_for, touching_wanted
from setwright.bench.plans import problem_from
from setwright.bench.progress import applied, work_left
from setwright.bench.replay import Start, begun, moved, replayed, taken_in
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job
from setwright.instrument.told import believed
from setwright.planning.found import settle_found
from setwright.planning.guide import next_step
from setwright.planning.hardware import hardware
from setwright.planning.outlook import end_state, view
from setwright.planning.plan import Amount, Step
from setwright.planning.tracking import firm
from setwright.planning.worth import most_telling
from setwright.practice.instrument import Practice
from setwright.practice.told import hello
from setwright.records.entries import live
from setwright.records.journal import from_bytes
from setwright.records.journal_text import line_of, parse

NEAR = 0.2  # standard uncertainties; the search for the most likely picture ends in a flat valley
WHEN = datetime(2026, 11, 25, 16, 0)
EXAMPLES = Path(__file__).parents[2] / "examples"


def journal(*lines, first=1):
    entries = [parse(*line.split(maxsplit=1), WHEN, sure=not line.startswith("strike")) for line in lines]
    text = "".join(f"{line_of(replace(one, number=n))}\n" for n, one in enumerate(entries, first))
    return live(from_bytes(text.encode(), "j").entries)


class Noting:
    """An instrument that answers, and a pen: everything done and read is written down as on the bench."""

    def __init__(self, on, job):
        self.on, self.job, self.lines = on, job, []
        self.pitch_sd = job.pitch_sd

    def pitch(self, string):
        hertz = self.on.pitch(string)
        self.lines.append(f"read pitch string {string} = {hertz:.9f} Hz ± {self.pitch_sd:.6f} c")
        return hertz

    def tune(self, string, hz):
        heard = self.on.tune(string, hz)
        self.lines.append(f"did tune string {string} to {hz:.6f} Hz, heard {heard:.9f} Hz ± {self.pitch_sd:.6f} c")
        return heard

    def claw(self, turns):
        self.on.claw(turns)
        self.lines.append(f"did claw {'in' if turns > 0 else 'out'} {abs(turns):.12f} turns")

    def gap(self):
        gap = self.on.gap()
        self.lines.append(f"read rear gap = {gap * 1e3:.9f} mm ± {self.job.gap_sd * 1e3:.9f} mm")
        return gap

    def claw_distance(self):
        place = self.on.claw_distance()
        self.lines.append(f"read claw distance = {place * 1e3:.9f} mm ± {self.job.claw_sd * 1e3:.9f} mm")
        return place

    def wedge(self, m):
        self.on.wedge(m)
        self.lines.append("did wedge out" if m is None else f"did wedge in at {m * 1e3:.9f} mm")

    def springs(self, n):
        self.on.springs(n)
        self.lines.append(f"did springs {n}")

    def attitude(self, name):
        self.on.attitude(name)
        self.lines.append("did attitude playing")

    def bar(self, rad):
        self.on.bar(rad)


def start_for(job):
    return Start(job.traits, believed(job.traits), job.settings, job.goal, job.knife)


def drive(seed, fewest):
    """The driver's advice at every step, with the lines its journal had then."""
    first = hello(seed)
    job = wanting(told(first), fewest)
    noting = Noting(Practice(first, seed), job)
    steps = []
    guided(job, noting, lambda advice, course: steps.append((advice, course, len(noting.lines))))
    return job, noting.lines, steps


def counted(course):
    return course.heard, course.gap_read, course.claw_read, course.free, course.claws, course.tunings


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "fewest"), [(0, "minutes"), (3, "minutes"), (0, "claw settings")])
def test_the_journal_gives_the_advice_the_driver_had_at_every_step(seed, fewest):
    """Pictures agree as far as the search for the most likely one goes; where two strings are as good to touch up, the
    other may be chosen once."""
    job, lines, steps = drive(seed, fewest)
    balance, done, others = begun(start_for(job)), 0, 0
    for advice, course, count in steps:
        balance, done = taken_in(balance, journal(*lines[done:count], first=done + 1)), count
        mine, theirs = balance.course.picture, course.picture
        sd = np.sqrt(np.diag(theirs.covariance))
        assert np.all(np.abs(mine.mean - theirs.mean) < NEAR * sd), count
        assert counted(balance.course) == counted(course), count
        now = next_step(balance.course)
        assert (now.do, now.strings) == (advice.do, advice.strings), count
        others += now.string != advice.string
        for name, near in (("hertz", 0.03), ("turns", 0.01), ("gap", 1e-9)):
            wanted = getattr(advice, name)
            if now.string == advice.string and wanted is not None:
                assert getattr(now, name) == pytest.approx(wanted, abs=near), count
    assert steps[-1][0].do == "done"
    assert sum(one.do == "springs" for one, _, _ in steps) == 2 * (fewest == "claw settings")
    assert others <= 1


@pytest.fixture(scope="module")
def kestrel():
    return read_job(EXAMPLES / "kestrel-float.job.toml")


@pytest.fixture(scope="module")
def practised():
    first = hello(0)
    job = told(first)
    on = Noting(Practice(first, 0), job)
    for string in range(1, 7):
        on.pitch(string)
    on.gap()
    return job, on.lines


def test_every_string_has_to_be_heard_before_anything_else(practised):
    job, lines = practised
    said = balanced(replayed(start_for(job), journal(*lines[:4])))
    assert (said.advice.do, said.advice.strings, said.standing) == ("read", (4, 5), None)
    assert balanced(replayed(start_for(job), journal(*lines[:6]))).standing is not None


def test_a_struck_reading_says_nothing(practised):
    job, lines = practised
    plain = balanced(replayed(start_for(job), journal(*lines)))
    with_struck = (*lines, "read pitch string 3 = 150 Hz", f"strike {len(lines) + 1} wrong string")
    struck = balanced(replayed(start_for(job), journal(*with_struck)))
    assert struck.standing == plain.standing


def test_readings_of_another_state_are_left_out_and_told(practised):
    job, lines = practised
    plain = balanced(replayed(start_for(job), journal(*lines)))
    more = (
        "read rear gap = 9 mm on its back", "read rear gap = 9 mm wedge in", "read rear gap = 9 mm slack",
        "read pitch string 1 harmonic at fret 12 = 700 Hz", "read relief held at 1 and 17, read at 8 = .010 in",
    )  # fmt: skip
    said = balanced(replayed(start_for(job), journal(*lines, *more)))
    assert said.standing == plain.standing
    assert [one.split()[0] for one in said.remarks if one.startswith("#")] == ["#8", "#9", "#10"]


def test_uncertainty_is_as_written_else_that_of_the_gauge_else_that_of_the_usual_one(practised):
    job, _ = practised
    lines = (
        "read rear gap = 2.6 mm ± 0.02 mm", "read rear gap = 2.6 mm with calliper", "read rear gap = 2.6 mm",
        "read rear gap treble = 2.6 mm ± 0.02 mm", "read pitch string 3 = 196 Hz ± 0.4 c",
        "read claw distance bass = 9 mm ± 0.1 mm", "read pitch string 3 = -4 c ± 0.4 c",
    )  # fmt: skip
    seen = replayed(start_for(job), journal(*lines)).pending
    assert [one.sd for one in seen[:4]] == pytest.approx([2e-5, 4.2e-5, 1.76e-4, 1.02e-4], rel=0.03)
    assert seen[6].value == pytest.approx(job.goal.hertz[2] * 2 ** (-4 / 1200))
    assert seen[6].sd == pytest.approx(np.hypot(0.5, 0.02), rel=1e-3)


def test_a_loose_wedge_is_believed(practised):
    job, lines = practised
    for word, free in (("yes", True), ("no", False)):
        said = replayed(start_for(job), journal(*lines, "did wedge in at 2 mm", f"read wedge loose = {word}"))
        assert said.course.free is free
    assert replayed(start_for(job), journal("read wedge loose = yes")).course is None


def test_slack_strings_begin_the_balance_anew(practised):
    job, lines = practised
    for line in (
        "did strings changed", "did step slacken", "did springs 3", "did pivot up 1 turn", "did strip shim in .020 in",
        "did saddle height string 2 up 1/4 turn",
    ):  # fmt: skip
        assert replayed(start_for(job), journal(*lines, line)).course is None
    for line in ("did nut locked", "did step octave"):
        assert replayed(start_for(job), journal(*lines, line)).course is not None
    more = ("did claw in 1/8 turn", "did saddle height string 2 up 1/4 turn")
    assert replayed(start_for(job), journal(*lines, *more)).course is not None


@pytest.mark.parametrize(
    ("line", "field", "shift"),
    [
        ("did pivot up 1 turn", "pivot_rise", "lead"),
        ("did pivot treble down 1 turn", "pivot_rise", "side"),
        ("did saddle height string 2 up 1 turn", "saddle_rise", "string"),
        ("did saddle length string 2 back 1 turn", "saddle_back", "string"),
    ],
)
def test_screws_move_by_their_leads(practised, line, field, shift):
    job, _ = practised
    (entry,) = journal(line)
    by = getattr(moved(job.traits, job.settings, entry, 2e-3), field) - getattr(job.settings, field)
    bridge = job.traits.bridge
    count = job.traits.string_count
    expected = {
        "lead": np.full(2, float(bridge.pivot_lead)),
        "side": np.array([-float(bridge.pivot_lead), 0.0]),
        "string": np.eye(count)[1] * float(bridge.height_lead if field == "saddle_rise" else bridge.length_lead),
    }[shift]
    assert by == pytest.approx(expected)


def test_the_other_settings(practised):
    job, _ = practised

    def after(line):
        return moved(job.traits, job.settings, journal(line)[0], 2e-3)

    assert after("did rod looser 1/4 turn").rod == pytest.approx(-0.25)
    assert after("did strip shim in .020 in").strip == pytest.approx(0.508e-3)
    assert after("did flat shim out .020 in").flat == 0.0
    assert after("did attitude on its back").attitude == "on its back"
    assert after("did wedge in").prop == 2e-3
    assert after("did wedge in at 3 mm, blocks").block == pytest.approx(3e-3)
    assert np.isnan(after("did wedge out").prop)
    assert after("did springs 4").springs.sum() == 4
    assert after("did bar down and let go") is job.settings
    with pytest.raises(InputError, match="7 springs cannot hang here"):
        after("did springs 7")


def test_one_claw_screw_and_the_bar_are_told_to_the_picture(practised):
    job, lines = practised
    said = replayed(start_for(job), journal(*lines, "did claw treble in 1 turn", "did bar down and let go"))
    lead = float(job.traits.claw.lead)
    assert said.settings.claw - job.settings.claw == pytest.approx([-lead, 0.0])
    assert said.course.claws == 1
    assert not any(said.course.heard)


def test_a_string_set_without_a_word_of_where_it_came_to(practised):
    job, lines = practised
    said = replayed(start_for(job), journal(*lines, "did tune string 6 to 70 Hz"))
    assert said.course.heard == (False,) * 5 + (True,)


def test_a_claw_nobody_had_read_is_noted_where_it_is_read_first(practised):
    job, lines = practised
    start = replace(start_for(job), claw_noted=False)
    said = replayed(start, journal("read claw distance = 17 mm", *lines))
    assert said.settings.claw == pytest.approx(np.full(2, 0.017))
    assert said.course.picture.settings.claw == pytest.approx(np.full(2, 0.017))


def test_parts_of_another_set_are_those_of_the_strings_that_go_on():
    problem = settle_found(problem_from(read_job(EXAMPLES / "dunlin-heavier.job.toml"))).problem
    assert problem.new_strings
    known = touching_wanted(problem)
    assert not any("wanted" in part.name for part in known.parts)
    assert len({part.name for part in known.parts}) == len(known.parts) < len(problem.known.parts)
    i, j = known.index("strings.axial[0]"), problem.known.index("wanted.axial[0]")
    assert known.covariance[i, i] == problem.known.covariance[j, j]


def test_hardware_comes_first_in_the_order_of_the_plan_with_what_is_left(kestrel):
    todo = hardware(settle_found(problem_from(kestrel)))
    keys = [step.key for step in todo.steps]
    said = next_for(kestrel, ())
    assert (said.kind, said.step.key, said.count, said.of) == ("hardware", keys[0], 1, len(keys))
    lines = ["did strip shim in .030 in", "did step neck on"]
    said = next_for(kestrel, journal(*lines))
    assert said.step.key == "pivots"
    (amount,) = said.step.amounts
    half = amount.value / 2
    said = next_for(kestrel, journal(*lines, f"did pivot {amount.way} {half:.6f} turns"))
    assert said.step.amounts[0].value == pytest.approx(half, abs=1e-5)
    said = next_for(kestrel, journal(*lines, f"did pivot {amount.way} {amount.value + 1:.6f} turns"))
    assert said.step.amounts[0].way != amount.way
    lines.append(f"did pivot {amount.way} {amount.value:.6f} turns")
    assert next_for(kestrel, journal(*lines)).step.key == "hang springs"
    lines += ["did springs 3"]
    said = next_for(kestrel, journal(*lines))
    assert said.step.key == "saddles"
    assert next_for(kestrel, journal(*lines, "did springs 2")).step.key == "hang springs"
    tuned = [*lines, "did step saddles", "did wedge in at 2.4 mm, props", "did tune string 6 to 82.4 Hz"]
    assert next_for(kestrel, journal(*tuned, "did springs 2")).kind == "balance"  # off for a while, while strings pull
    assert next_for(kestrel, journal(*tuned, "did springs 4")).step.key == "hang springs"
    for one in said.step.amounts[1:]:
        lines.append(f"did saddle height {one.what} {one.way} {one.value:.6f} turns")
    assert len(next_for(kestrel, journal(*lines)).step.amounts) == 1
    said = next_for(kestrel, journal(*lines, "did step saddles"))
    assert (said.kind, said.advice.do) == ("balance", "read")


@pytest.mark.slow
def test_strings_set_on_the_wedge_are_not_expected_again(kestrel):
    todo = hardware(settle_found(problem_from(kestrel)))
    lines = [f"did step {step.key}" for step in todo.steps]
    lines += [*(f"read pitch string {i} = -300 c ± 0.4 c" for i in range(1, 7)), "did wedge in at 2.6 mm"]
    for left in range(6, 2, -1):
        said = next_for(kestrel, journal(*lines))
        assert (said.advice.do, said.expected) == ("tune", left)
        lines.append(f"did tune string {said.advice.string + 1} to {said.advice.hertz:.6f} Hz")


def test_a_step_no_plan_has_is_refused(kestrel):
    with pytest.raises(InputError, match="#1: no step is called 'polish'"):
        next_for(kestrel, journal("did step polish"))


def test_without_a_floating_plate_strings_follow_the_hardware_thickest_first():
    job = read_job(EXAMPLES / "wigeon-reradius.job.toml")
    lines = [f"did step {step.key}" for step in hardware(settle_found(problem_from(job))).steps]
    count = len(job.want.tuning)
    for string in range(count, 0, -1):
        said = next_for(job, journal(*lines))
        assert (said.kind, said.advice.string, said.expected) == ("strings", string - 1, string)
        lines.append(f"read pitch string {string} = 1 c" if string % 2 else f"did tune string {string} to 0 c")
    assert next_for(job, journal(*lines)).kind == "done"
    said = next_for(job, journal(*lines, "read pitch string 2 = -5 c"))
    assert (said.advice.string, said.advice.why) == (1, "it was heard outside its tolerance")
    assert next_for(job, journal(*lines, "did rod tighter 1/8 turn")).advice.string == count - 1


def test_a_decked_plate_has_its_claw_among_the_hardware():
    job = read_job(EXAMPLES / "plover-dive.job.toml")
    steps = hardware(settle_found(problem_from(job))).steps
    claw = next(step for step in steps if step.key == "claw").amounts[0]
    lines = ["did step slacken"]
    said = next_for(job, journal(*lines))
    assert (said.step.key, said.step.amounts[0].value) == ("claw", claw.value)
    one_side = (*lines, f"did claw treble {claw.way} {claw.value:.6f} turns")
    assert next_for(job, journal(*one_side)).step.amounts[0].value == pytest.approx(claw.value / 2)
    assert next_for(job, journal(*lines, f"did claw {claw.way} {claw.value:.6f} turns")).step.key == "saddles"


def hard(key, *amounts):
    return Step(key, key, tuple(amounts))


def test_what_is_left_of_every_kind_of_step():
    problem = problem_from(read_job(EXAMPLES / "plover-dive.job.toml"))

    def key(step, *lines):
        left = work_left(problem, (step,), journal(*lines))
        return left and left.step

    sides = hard("pivots", *(Amount(f"{side} pivot screw", 1.0, "turns", "up") for side in ("treble", "bass")))
    assert [one.what for one in key(sides, "did pivot bass up 1 turn").amounts] == ["treble pivot screw"]
    assert key(sides, "did pivot up 1 turn") is None
    assert key(sides, "note pivots later", "did rod tighter 1/8 turn").amounts[0].value == 1.0
    block = hard("block", Amount("rear gap", 2e-3, "length", "to"))
    assert key(block, "did wedge in at 2 mm, props") == block
    assert key(block, "did wedge in at 2 mm, blocks") is None
    assert key(hard("relief"), "did rod looser 1/8 turn") is None
    assert key(hard("strings on"), "did strings changed") is None
    assert key(hard("strings on")) is not None


def test_settings_as_planned_where_a_step_is_only_said_to_be_done(kestrel):
    todo = hardware(settle_found(problem_from(kestrel)))
    found, end = todo.problem.found.settings, todo.settings
    now = applied(found, end, journal("did step pivots", "did step protect"))
    assert now.pivot_rise is end.pivot_rise
    assert now.saddle_rise is found.saddle_rise


def test_the_promised_narrowing_is_what_such_a_reading_does(practised):
    job, lines = practised
    balance = replayed(start_for(job), journal(*lines, "did claw in 1/8 turn"))
    told = most_telling(view(balance.course), 1e4, 1.0, 5e-5)
    assert (told.what, told.string) == ("claw distance", None)
    place = 1e3 * (float(balance.settings.claw.mean()) + float(balance.course.picture.mean[-1]))
    line = f"read claw distance = {place:.6f} mm ± 0.05 mm"
    after = taken_in(balance, journal(line, first=99)).course
    assert end_state(replace(after, picture=firm(after.picture))).claw_sd == pytest.approx(told.after, rel=0.02)
    assert told.after < told.before


def test_nothing_helps_where_nothing_is_read_well_enough(practised):
    job, lines = practised
    course = replayed(start_for(job), journal(*lines)).course
    assert most_telling(view(course), np.inf, np.inf, np.inf) is None
