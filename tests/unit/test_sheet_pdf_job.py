"""From a job and its journal to the sheet: what counts as found and as left, verdicts, words, what was not done."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest

from setwright.bench.journals import open_journal
from setwright.bench.paper import NO_PLAN, Desk, sheet_of, sheet_of_job
from setwright.bench.paper_rows import NOT_AGAIN, OTHERS_SINCE, WEDGED, Key, readings_of
from setwright.bench.paper_shown import length
from setwright.bench.paper_words import net_turns, notes_of, undone
from setwright.errors import InputError
from setwright.instrument.jobfile import Job, read_job
from setwright.planning.plan import Amount, Step
from setwright.records.entries import Entry, live
from setwright.records.journal_text import parse
from setwright.sheets.sheet import Group, Line, Row, SheetData

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[2] / "examples"
FLOAT, FIXED = EXAMPLES / "kestrel-float.job.toml", EXAMPLES / "sanderling-lower.job.toml"
FINISHED = EXAMPLES / "kestrel-finished.journal.txt"
WHEN = datetime(2026, 11, 24, 9, 0)


def written(*lines: str, who: str = "Ada") -> tuple[Entry, ...]:
    out = []
    for number, line in enumerate(lines, start=1):
        verb, _, words = line.partition(" ")
        out.append(replace(parse(verb, words, WHEN, who), number=number))
    return tuple(out)


@pytest.fixture(scope="module")
def floating() -> Job:
    return read_job(FLOAT)


@pytest.fixture(scope="module")
def fixed() -> Job:
    return read_job(FIXED)


@pytest.fixture(scope="module")
def finished() -> SheetData:
    return sheet_of_job(str(FLOAT), str(FINISHED), Desk(shop="Weir Lane Bench"))


def group(data: SheetData, what: str) -> Group:
    return next(one for one in data.groups if one.what == what)


def row(job: Job, entries: tuple[Entry, ...], what: str, at: int = 0) -> Row:
    return group(sheet_of(job, entries, plan=False), what).rows[at]


def test_the_whole_job_is_told(finished: SheetData) -> None:
    assert (finished.owner, finished.case, finished.recheck) == ("A. Marsh", "26-117", date(2027, 2, 25))
    assert (finished.begun, finished.ended) == (date(2026, 11, 24), date(2026, 11, 25))
    assert finished.who == "Ada, Ben Hale"
    assert finished.made == datetime(2026, 11, 25, 9, 21)
    assert finished.short == (
        "12 of 14 wanted figures are inside their tolerance; 2 are too near its edge to be certain."
    )
    assert finished.recommended == ("A new nut; the slot of the third string is worn.",)
    assert finished.not_done == ("Frets levelled, by wish of the owner.",)
    assert finished.notes == ("buzz at fret 5, string 6, was there before",)
    assert Line("graphite for the nut slots", "") in finished.parts
    assert Line("Claw, both", "1 1/4 turns in") in finished.settings
    assert Line("Strip shim", ".030 in, laid in") in finished.settings
    assert finished.climate == "temperature 21.0 °C, humidity 46 %"
    assert finished.gauges == "tuner, depth gauge"
    assert "A shim of .030 in laid under the neck in its pocket." in finished.done
    assert "String heights set at the saddles: strings 1, 2, 3, 4 and 6." in finished.done


def test_figures_of_the_shop_page(finished: SheetData) -> None:
    pitch = group(finished, "Pitch").rows[2]
    assert (pitch.name, pitch.found, pitch.target) == ("3  G3", "G3 −11.0 ± 2.1 c", "G3 (196.00 Hz) ± 2 c")
    assert (pitch.left, pitch.verdict) == ("G3 +0.8 ± 0.8 c", "inside")
    height = group(finished, "String height at fret 12").rows[4]
    assert (height.found, height.target, height.left) == ("2.20 ± 0.06 mm", "1.92 ± 0.25 mm", "2.21 ± 0.08 mm")
    assert height.verdict == "not certain"
    assert height.mark is not None
    assert height.mark.left == pytest.approx((2.21 - 1.92) / 0.25)
    assert height.mark.half == pytest.approx(2.0 * 0.04 / 0.25)
    assert [one.verdict for one in group(finished, "Rear gap of the base plate").rows] == ["inside", "inside"]


@pytest.mark.parametrize(
    ("left", "verdict"),
    [
        ("1.60 mm ± 0.04 mm", "inside"), ("1.77 mm ± 0.04 mm", "inside"), ("1.78 mm ± 0.04 mm", "not certain"),
        ("1.92 mm ± 0.04 mm", "not certain"), ("1.94 mm ± 0.04 mm", "outside"), ("1.26 mm ± 0.04 mm", "outside"),
    ],
)  # fmt: skip
def test_verdicts_after_iso_14253_1(floating: Job, left: str, verdict: str) -> None:
    """1.60 ± 0.25 mm read with u = 0.04 mm, U = 2 u: inside up to 1.85 - 0.08, outside from 1.85 + 0.08 (clauses 5.2
    and 5.3, from memory)."""
    entries = written("did saddle height string 1 down 1/8 turn", f"read string height string 1 at fret 12 = {left}")
    assert row(floating, entries, "String height at fret 12").verdict == verdict


def test_without_a_journal_nothing_is_as_left(floating: Job) -> None:
    data = sheet_of(floating, ())
    assert data.short == "No work is written down yet; the figures are those as found."
    assert all(not one.left and not one.verdict and not one.remark for some in data.groups for one in some.rows)
    assert data.not_done == ()
    assert data.done == ()
    assert (data.begun, data.ended, data.who) == (None, None, "")
    assert data.found[1] == "The bridge rested on the body, on 3 springs."


def test_the_first_reading_that_nothing_spoilt_is_as_found(floating: Job) -> None:
    entries = written(
        "read pitch string 1 = 5 c", "read pitch string 1 = 7 c", "did claw in 1 turn", "read pitch string 1 = -200 c",
        "read pitch string 2 = -180 c",
    )  # fmt: skip
    first, second = (row(floating, entries, "Pitch", i) for i in (0, 1))
    assert first.found == "E4 +5 ± 2 c"
    assert second.found == ""
    assert first.left == "E4 −200 ± 2 c"
    assert first.verdict == "outside"


def test_a_string_that_was_set_is_not_as_found(fixed: Job) -> None:
    entries = written("did tune string 1 to E4, heard 329.63 Hz")
    one = row(fixed, entries, "Pitch")
    assert (one.found, one.left) == ("", "E4 0 ± 2 c")


@pytest.mark.parametrize(
    ("done", "what", "remark"),
    [
        ("did saddle height string 1 up 1/8 turn", "String height at fret 12", NOT_AGAIN),
        ("did saddle height string 2 up 1/8 turn", "String height at fret 12", ""),
        ("did claw in 1/8 turn", "String height at fret 12", NOT_AGAIN),
        ("did bar up and let go", "String height at fret 12", ""),
        ("did step protect", "String height at fret 12", ""),
        ("did step neck off", "String height at fret 12", NOT_AGAIN),
        ("did wedge in at 2.6 mm", "Rear gap of the base plate", NOT_AGAIN),
        ("did rod tighter 1/8 turn", "Rear gap of the base plate", ""),
        ("did rod tighter 1/8 turn", "Relief", NOT_AGAIN),
        ("did claw in 1/8 turn", "Relief", ""),
        ("did claw in 1/8 turn", "Claw distance", NOT_AGAIN),
        ("did saddle length string 1 back 1/8 turn", "Octave error", NOT_AGAIN),
        ("did tune string 1 to E4", "Pitch", NOT_AGAIN),
        ("did tune string 2 to B3", "Pitch", OTHERS_SINCE),
    ],
)
def test_what_was_done_since_spoils_a_reading(floating: Job, done: str, what: str, remark: str) -> None:
    entries = written(
        "read octave error string 1 = 2 c", "did claw in 1/8 turn", "read pitch string 1 = 0 c",
        "read string height string 1 at fret 12 = 1.6 mm",
        "read rear gap = 2.6 mm", "read claw distance = 12 mm", "read octave error string 1 = 1 c",
        "read relief held at 1 and 17, read at 8 = .009 in", done,
    )  # fmt: skip
    one = row(floating, entries, what)
    assert one.remark == remark
    assert bool(one.left) == (remark != NOT_AGAIN)
    if remark == OTHERS_SINCE:
        assert one.verdict == "not certain"


def test_on_a_fixed_bridge_other_strings_do_not_matter(fixed: Job) -> None:
    entries = written("did tune string 1 to E4, heard 329.63 Hz ± 0.1 Hz", "did tune string 2 to B3, heard 246.94 Hz")
    one = row(fixed, entries, "Pitch")
    assert (one.remark, one.verdict) == ("", "inside")


@pytest.mark.parametrize("said", ["slack", "on its back", "wedge in"])
def test_only_the_playing_state_counts(floating: Job, said: str) -> None:
    entries = written("did wedge out", f"read rear gap = 2.6 mm ± 0.01 mm, {said}")
    one = row(floating, entries, "Rear gap of the base plate")
    assert one.verdict != "inside"
    assert one.remark == (WEDGED if said == "wedge in" else NOT_AGAIN)


def test_an_attitude_stays_until_it_is_changed(floating: Job) -> None:
    back, up = ("did attitude on its back", "did attitude playing")
    read = "read rear gap = 2.6 mm ± 0.01 mm"
    assert row(floating, written("did claw in 1/8 turn", back, read), "Rear gap of the base plate").left == ""
    assert row(floating, written("did claw in 1/8 turn", back, up, read), "Rear gap of the base plate").left != ""
    said = f"{read}, playing"
    assert row(floating, written("did claw in 1/8 turn", back, said), "Rear gap of the base plate").left != ""


def test_a_wedge_that_is_still_in_is_told(floating: Job) -> None:
    one = row(floating, written("did wedge in at 2.6 mm", "read pitch string 1 = 0 c"), "Pitch")
    assert (one.remark, one.verdict) == (WEDGED, "not certain")
    data = sheet_of(floating, written("did wedge in at 2.6 mm", "read pitch string 1 = 0 c"), plan=False)
    assert "1 was read before the end of the work" in data.short
    assert f"5 {NOT_AGAIN}, 1 {WEDGED}" in data.measures[0].result or f"1 {WEDGED}, 5" in data.measures[0].result


def test_octaves_come_from_notes_held_at_fret_12(fixed: Job) -> None:
    """1200 log2 of 660.0 Hz over 329.63 Hz is 1201.9 cents."""
    entries = written(
        "did saddle length string 1 back 1/8 turn", "read pitch string 1 = 329.63 Hz ± 0.1 c",
        "read pitch string 1 at fret 12 = 660.0 Hz ± 0.1 c", "read pitch string 1 at fret 5 = 440 Hz",
        "read pitch string 1 harmonic at fret 12 = 659.3 Hz", "read pitch string 2 at fret 12 = 493.9 Hz",
    )  # fmt: skip
    rows = {one.key: one for one in readings_of(fixed, entries)}
    told = rows[Key("octave error", 1)].left
    assert told is not None
    assert told.value == pytest.approx(1.943, abs=0.01)
    assert rows[Key("octave error", 2)].left is None


def test_a_gauge_or_a_plus_minus_goes_before_the_usual(floating: Job) -> None:
    first = "did claw in 1/8 turn"
    key = Key("string height", 1, 12)

    def u(reading: str) -> float:
        told = next(one for one in readings_of(floating, written(first, reading)) if one.key == key).left
        assert told is not None
        return told.u

    bare, stated, gauged = (
        u(f"read string height string 1 at fret 12 = 1.60 mm{more}") for more in ("", " ± 0.02 mm", " with calliper")
    )
    assert stated == pytest.approx(0.02e-3)
    assert bare > 0.05e-3  # the hand's own
    assert 0.03e-3 <= gauged < 0.04e-3


@pytest.mark.parametrize(
    ("metres", "half", "system", "fraction", "said"),
    [
        (0.0254 * 5 / 64, 0.1e-3, "inch", True, "5/64 ± .004 in"),
        (0.0254 * 5 / 64, 0.1e-3, "inch", False, ".078 ± .004 in"),
        (0.0254 * 1.5, 0.1e-3, "inch", True, "1 1/2 ± .004 in"),
        (0.0254 * 0.08, 0.1e-3, "inch", True, ".080 ± .004 in"),
        (0.0254 * 5 / 64, 0.1e-3, "mm", True, "2.0 ± 0.1 mm"),
        (1.6e-3, 0.0, "mm", False, "1.60 ± 0.01 mm"),
    ],
)
def test_lengths_on_paper(metres: float, half: float, system: str, fraction: bool, said: str) -> None:
    assert length(metres, half, "inch" if system == "inch" else "mm", fraction) == said


def test_both_systems(floating: Job, finished: SheetData) -> None:
    _, journal = open_journal(str(FLOAT), str(FINISHED))
    inches = sheet_of(floating, live(journal.entries), units="inch", plan=False)
    assert group(inches, "String height at fret 12").rows[0].left == ".062 ± .004 in"
    assert group(finished, "String height at fret 12").rows[0].left == "1.58 ± 0.08 mm"
    assert inches.climate.startswith("temperature 69.8 °F")
    measured = {one.what: one for one in inches.measures}
    assert measured["String height at fret 12"].now == ".062 to .087 in"


def test_fractions_stay_fractions(fixed: Job) -> None:
    entries = written(
        "did saddle height string 1 up 1/8 turn", "read string height string 1 at fret 12 = 5/64 in",
        "did saddle height string 2 up 1/8 turn", "read string height string 2 at fret 12 = 3/32 in",
    )  # fmt: skip
    data = sheet_of(fixed, entries, units="inch", plan=False)
    assert group(data, "String height at fret 12").rows[0].left == "5/64 ± .010 in"
    assert next(one for one in data.measures if "height" in one.what).now == "5/64 to 3/32 in"


def test_turns_are_told_net() -> None:
    entries = written(
        "did claw in 1 turn", "did claw out 1/4 turn", "did claw treble in 1/8 turn", "did rod tighter 1/8 turn",
        "did rod looser 1/8 turn", "did pivot bass up 1/2 turn", "did saddle length string 2 forward 1/2 turn",
        "did bar up and let go",
    )  # fmt: skip
    turned = net_turns(entries)
    assert turned["claw", 0, "treble"] == pytest.approx(0.875)
    assert turned["claw", 0, "bass"] == pytest.approx(0.75)
    assert turned["rod", 0, ""] == pytest.approx(0.0)
    assert turned["saddle length", 2, ""] == pytest.approx(-0.5)


def test_settings_for_the_shop(floating: Job) -> None:
    entries = written(
        "did claw in 1 turn", "did claw treble in 1/8 turn", "did rod tighter 1/8 turn", "did rod looser 1/8 turn",
        "did pivot bass up 1/2 turn", "did springs 4", "did flat shim in 0.5 mm", "did strip shim out .020 in",
        "did nut locked", "did wedge in at 2.6 mm, blocks",
    )  # fmt: skip
    data = sheet_of(floating, entries, plan=False)
    assert data.settings == (
        Line("Claw, bass", "1 turn in"), Line("Claw, treble", "1 1/8 turns in"), Line("Pivots, bass", "1/2 turn up"),
        Line("Springs", "4 (as found 3)"), Line("Flat shim", "0.5 mm, laid in"),
        Line("Strip shim", ".020 in, taken out"), Line("Wedge", "in, blocks"), Line("Nut", "locked"),
    )  # fmt: skip
    assert data.parts == (Line("Flat shim", "0.5 mm"), Line("Springs", "1 more"))
    for said in (
        "A flat shim of 0.5 mm laid",
        "A shim of .020 in taken",
        "Springs: 4 in place of 3.",
        "Bridge blocked",
    ):
        assert any(one.startswith(said) for one in data.done), said


def test_steps_by_their_name_are_told_once(floating: Job) -> None:
    steps = (
        "relief",
        "strings on",
        "neck on",
        "pivots",
        "hang springs",
        "claw",
        "saddles",
        "lengths",
        "shim",
        "octave",
    )
    data = sheet_of(floating, written(*(f"did step {one}" for one in steps)), plan=False)
    assert data.done[0] == "New strings fitted: .010 .013 .017 .026w .036w .046w."
    assert sum("strings fitted" in one for one in data.done) == 1
    for said in ("Truss rod set.", "Neck taken off and set back.", "Shim laid under the neck.", "Saddles set along"):
        assert any(one.startswith(said) for one in data.done), said
    more = sheet_of(floating, written("did step saddles", "did saddle height string 1 up 1/8 turn"), plan=False)
    assert more.done == ("String heights set at the saddles: string 1.",)


def test_the_strings_that_are_on_now(floating: Job) -> None:
    other = sheet_of(floating, written("did strings changed to .009 .011 .016 .024w .032w .042w"), plan=False)
    assert other.strings == ".009 .011 .016 .024w .032w .042w"
    assert other.parts[0] == Line("Strings", other.strings)
    assert sheet_of(floating, written("did strings changed"), plan=False).strings.startswith(".010")


def test_a_rod_turned_is_told_to_the_owner(fixed: Job) -> None:
    done = sheet_of(fixed, written("did rod looser 1/8 turn", "did bar up and let go"), plan=False).done
    assert done[0] == "Truss rod set 1/8 turn looser, for the hollow of the neck."
    assert done[-1].startswith("The bar worked")


def test_notes_go_to_their_place() -> None:
    notes = notes_of(written("note plain", "note Recommended: a nut", "note owner: A", "note owner: B", "note part: x"))
    assert (notes.plain, notes.recommended, notes.owner, notes.parts) == (("plain",), ("a nut",), "B", ("x",))
    with pytest.raises(InputError, match=r"#1: 'soon' is no day to look at it again; strike it and write it as"):
        notes_of(written("note recheck: soon"))


def test_the_desk_goes_before_the_notes(floating: Job) -> None:
    entries = written("note owner: A", "note case: 1", "note recheck: 2027-01-01")
    data = sheet_of(floating, entries, Desk(owner="B", case="2", recheck=date(2027, 5, 5), link="x", address=("y",)))
    assert (data.owner, data.case, data.recheck, data.link, data.address) == ("B", "2", date(2027, 5, 5), "x", ("y",))


def test_what_the_plan_recommends_and_nobody_did(floating: Job) -> None:
    data = sheet_of(floating, written("did strip shim in .030 in"))
    assert "Height of the bridge at its pivots: 2 turns up." in data.not_done
    assert "The balance of the bridge: 6 of 6 strings were not heard at rest." in data.not_done
    assert not any(one.startswith("Shim") for one in data.not_done)


def test_a_reading_that_is_good_ends_a_planned_step(floating: Job) -> None:
    turned = ("did strip shim in .030 in", "did pivot up 2 turns", "did springs 3")
    before = sheet_of(floating, written(*turned))
    assert any(one.startswith("String heights at the saddles") for one in before.not_done)
    good = (1.6, 1.68, 1.76, 1.84, 1.92, 2.0)
    reads = (f"read string height string {i} at fret 12 = {mm} mm ± 0.02 mm" for i, mm in enumerate(good, start=1))
    after = sheet_of(floating, written(*turned, *reads))
    assert not any(one.startswith("String heights at the saddles") for one in after.not_done)


def test_a_relief_that_is_good_ends_the_step_of_the_rod() -> None:
    job = read_job(EXAMPLES / "curlew-low.job.toml")
    first = sheet_of(job, written("did bar up and let go"))
    assert [one for one in first.not_done if one.startswith("Truss rod")]
    read = "read relief held at 1 and 17, read at 8 = .010 in ± .0002 in"
    after = sheet_of(job, written("did bar up and let go", read))
    assert not any(one.startswith("Truss rod") for one in after.not_done)


def test_a_job_without_a_plan_still_gives_its_sheet() -> None:
    weak = read_job(EXAMPLES / "knot-too-weak.job.toml")
    data = sheet_of(weak, written("did springs 3"))
    assert data.not_done[0] == NO_PLAN


def test_planned_steps_in_words() -> None:
    steps = (
        Step("protect", "Protect"),
        Step("shim", "Lay", (Amount("strip shim at the heel end", 0.000508, "thou", "lay in"),)),
        Step("hang springs", "Hook", (Amount("places 1 and 5", 4.0, "count"),)),
        Step("saddles", "Set", (Amount("string 1", 0.25, "turns", "up"), Amount("string 2", 0.125, "turns", "down"))),
        Step("block", "Block", (Amount("rear gap", 0.002, "length"),)),
    )
    assert undone(steps, "inch") == (
        "Shim in the neck's pocket: lay in .020 in.", "Number of springs: 4.",
        "String heights at the saddles: string 1 1/4 turn up, string 2 1/8 turn down.", "Block of the bridge.",
    )  # fmt: skip


def test_all_inside_is_said_plainly(fixed: Job) -> None:
    job = replace(fixed, want=replace(fixed.want, string_height=None, relief=None, octave=None))
    entries = written(*(f"did tune string {i} to {one.si} Hz, heard {one.si} Hz ± 0.01 Hz"
                        for i, one in enumerate(job.want.tuning, start=1)))  # fmt: skip
    data = sheet_of(job, entries, plan=False)
    assert data.short == f"All {len(job.want.tuning)} wanted figures are inside their tolerance."
    assert data.measures[0].now == "within 1 cent"
    assert data.measures[0].result == "as wanted"


def test_left_handed_and_another_reference_are_told(fixed: Job) -> None:
    job = replace(fixed, instrument=replace(fixed.instrument, handed="left"))
    assert sheet_of(job, ()).about.endswith(", left-handed")
    low = tuple(replace(one, si=one.si * 432.0 / 440.0) for one in job.want.tuning)
    data = sheet_of(replace(job, want=replace(job.want, tuning=low)), ())
    assert "(A4 = 432 Hz)" in data.tuning


def test_another_tuning_as_found_is_told_by_its_notes(fixed: Job) -> None:
    low = tuple(replace(one, si=one.si * 2.0 ** (-2 / 12)) for one in fixed.want.tuning)
    data = sheet_of(replace(fixed, found=replace(fixed.found, pitches=low)), ())
    assert data.measures[0].before.startswith("D4 A3")
    assert group(data, "Pitch").rows[0].found.startswith("D4 ")


@pytest.mark.parametrize("name", sorted(path.name for path in EXAMPLES.glob("*.job.toml")))
def test_every_example_gives_a_sheet(name: str) -> None:
    data = sheet_of(read_job(EXAMPLES / name), ())
    assert data.instrument
    assert len(group(data, "Pitch").rows) == len(data.tuning.split(" (")[0].split())
