"""What a line of the journal says: every form once, refusals in one sentence with what is allowed."""

from dataclasses import replace
from datetime import datetime

import pytest

from setwright.errors import InputError, QuestionableError, UnitError
from setwright.metrology.reading import Convention, Place, State
from setwright.records.entries import live
from setwright.records.forms import FORMS
from setwright.records.journal_text import line_of, parse, parse_line

WHEN = datetime(2026, 11, 25, 14, 31, 7)


def said(line, **more):
    verb, words = line.split(maxsplit=1)
    return parse(verb, words, WHEN, **more)


# words, what, way, kind, unit, SI value, place; values converted by hand (1 in = 25.4 mm)
READ = [
    ("pitch string 3 = 196.02 Hz", "pitch", "pitch", "Hz", 196.02, Place(string=3)),
    ("pitch string 1 harmonic at fret 12 = 659.3 Hz", "pitch", "pitch", "Hz", 659.3, Place(12, 1, "", True)),
    ("Pitch String 1 fret 12 = 659,3 Hz", "pitch", "pitch", "Hz", 659.3, Place(12, 1)),
    ("pitch string 3 = -4 c", "pitch", "cents", "c", -4.0, Place(string=3)),
    ("pitch string 3=+12 cents", "pitch", "cents", "c", 12.0, Place(string=3)),
    ("pitch string 5 = A2", "pitch", "pitch", "note", 110.0, Place(string=5)),
    ("octave error string 2 = -2 c", "octave error", "cents", "c", -2.0, Place(string=2)),
    ("rear gap = 2.6 mm", "rear gap", "length", "mm", 2.6e-3, Place()),
    ("rear gap bass = .100 in", "rear gap", "length", "in", 2.54e-3, Place(side="bass")),
    ("claw distance treble = 1/2 in", "claw distance", "length", "in", 12.7e-3, Place(side="treble")),
    ('string height string 1 at fret 12 = 2.5/32"', "string height", "length", "in", 1.984375e-3, Place(12, 1)),
    ("first-fret clearance string 6 = 15 thou", "first-fret clearance", "length", "thou", 0.381e-3, Place(string=6)),
    ("wedge loose = yes", "wedge loose", "yes or no", "", 1.0, Place()),
    ("wedge loose = no", "wedge loose", "yes or no", "", 0.0, Place()),
    ("temperature = 68 F", "temperature", "temperature", "F", 293.15, Place()),
    ("humidity = 45 %", "humidity", "ratio", "%", 0.45, Place()),
]


@pytest.mark.parametrize(("words", "what", "kind", "unit", "si", "place"), READ)
def test_readings(words, what, kind, unit, si, place):
    entry = said(f"read {words}")
    assert (entry.verb, entry.what, entry.place, entry.state) == ("read", what, place, None)
    assert (entry.value.kind, entry.value.unit) == (kind, unit)
    assert entry.value.si == pytest.approx(si, rel=1e-12)
    assert entry.value.written == words.partition("=")[2].strip()


DID = [
    ("claw in 1 3/8 turns", "claw", "in", 1.375, Place()),
    ("claw bass out 1/4 turn", "claw", "out", 0.25, Place(side="bass")),
    ("pivot treble up 1/8 turn", "pivot", "up", 0.125, Place(side="treble")),
    ("pivot down 1/8 turn", "pivot", "down", 0.125, Place()),
    ("saddle height string 2 up 1/2 turn", "saddle height", "up", 0.5, Place(string=2)),
    ("saddle length string 2 back 0.5 turn", "saddle length", "back", 0.5, Place(string=2)),
    ("rod tighter 1/8 turn", "rod", "tighter", 0.125, Place()),
    ("wedge in at 2,6 mm", "wedge", "in", 2.6e-3, Place()),
    ("wedge in at 2.6 mm, blocks", "wedge", "in, blocks", 2.6e-3, Place()),
    ("wedge in", "wedge", "in", None, Place()),
    ("wedge out", "wedge", "out", None, Place()),
    ("springs 4", "springs", "", 4.0, Place()),
    ("bar down and let go", "bar", "down", None, Place()),
    ("attitude On its back", "attitude", "on its back", None, Place()),
    ("strip shim in .020 in", "strip shim", "in", 0.508e-3, Place()),
    ("wedge shim out 0.5 mm", "wedge shim", "out", 0.5e-3, Place()),
    ("strings changed", "strings changed", "", None, Place()),
    ("strings changed to .010 .026w", "strings changed", ".010 .026w", None, Place()),
    ("nut locked", "nut", "locked", None, Place()),
    ("step neck off", "step", "neck off", None, Place()),
]


@pytest.mark.parametrize(("words", "what", "way", "si", "place"), DID)
def test_things_done(words, what, way, si, place):
    entry = said(f"did {words}")
    assert (entry.verb, entry.what, entry.way, entry.place) == ("did", what, way, place)
    assert (entry.value is None) == (si is None)
    if si is not None:
        assert entry.value.si == pytest.approx(si, rel=1e-12)


def test_tuning_with_what_was_heard():
    entry = said("did tune string 3 to 194,9 Hz, heard 194,95 Hz ± 0,5 c")
    assert (entry.place.string, entry.value.si, entry.heard.si) == (3, 194.9, 194.95)
    assert entry.heard.standard_uncertainty == pytest.approx(0.0563, abs=1e-4)  # 194.95 Hz x 0.5 / 1731.2
    assert said("did tune string 3 to -12 c, heard -11 c").heard.kind == "cents"
    assert said("did tune string 3 to G3").heard is None


def test_every_form_has_an_example_here_and_its_shape_can_be_read():
    assert {one[1] for one in READ} | {"relief"} == set(FORMS["read"])
    assert {one[1] for one in DID} | {"tune", "flat shim"} == set(FORMS["did"])
    for verb, forms in FORMS.items():
        for form in forms.values():
            said(f"{verb} {form.shape.partition(' (')[0]}")


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("read rear gap = 2.6 mm ± 0.05 mm", 0.05e-3),
        ("read rear gap = 2.6 +/- 0.05 mm", 0.05e-3),
        ("read rear gap = 2.6 mm", 0.1e-3 / 12**0.5),
        ("read rear gap = 2.6 mm with rule 0.5 mm", (0.25**2 / 12 + 0.1**2) ** 0.5 * 1e-3),  # read to half a division
        ("read pitch string 3 = 196 Hz ± 0.5 Hz", 0.5),
        ("read pitch string 3 = -4 c ± 0.3 c", 0.3),
        ("read pitch string 3 = -4 c with tuner", (0.5**2 / 3 + 1.0) ** 0.5),
    ],
)
def test_uncertainty(words, expected):
    assert said(words).value.standard_uncertainty == pytest.approx(expected, rel=1e-9)


def test_relief_keeps_its_convention_and_height_its_capo():
    relief = said("read relief held at 1 and 17, read at 8 = .010 in")
    assert relief.convention == Convention(1, 17, 8)
    edge = said("read relief string 6 under a straightedge on 1 and 17, read at 8 = .010 in")
    assert (edge.convention, edge.place) == (Convention(1, 17, 8, True), Place(string=6))
    assert said("read string height string 1 at fret 12 with a capo on 1 = 1.6 mm").convention == Convention(capo=1)


@pytest.mark.parametrize(
    ("tail", "state"),
    [
        ("at pitch, playing", State()),
        (" , slack, on its back", State(False, "on its back")),
        ("at pitch wedge in upright", State(True, "upright", True)),
        ("wedge out, reached from below", State(reached_from="below")),
    ],
)
def test_state_as_said(tail, state):
    entry = said(f"read rear gap = 2.6 mm {tail}")
    assert entry.state == state
    assert entry.value.written == "2.6 mm"


def test_gauge_state_and_sure_in_one_tail():
    entry = said('read rear gap = 9 mm with "rule 0.5 mm" at pitch, playing, sure', who="Ada  B")
    assert (entry.gauge, entry.said, entry.sure, entry.who) == ("rule 0.5 mm", ("at pitch", "playing"), True, "Ada B")
    assert said("read rear gap = 2.6 mm playing with a calliper").gauge == "calliper"


def test_notes_and_strikes():
    assert said('note "buzz at fret 5"').text == said("note buzz  at fret 5").text == "buzz at fret 5"
    assert said('note "A" buzzes, not "E"').text == '"A" buzzes, not "E"'
    for words in ("strike #15: wrong side", "strike 15 wrong side", 'strike 15 "wrong side"'):
        entry = said(words)
        assert (entry.strikes, entry.text) == (15, "#15: wrong side")


REFUSED = [
    ("read rear gpa = 2.6 mm", "did you mean 'rear gap'?"),
    ("reed rear gap = 2.6 mm", "did you mean 'read'?"),
    ("xyz abc", "begins with one of these"),
    ("claw in 1 turn", "write did claw in 1 turn"),
    ("did rear gap = 2.6 mm", "write read rear gap"),
    ("read claw in 1 turn", "write did claw"),
    ("read rear gap", "has no value"),
    ("read rear gap =", "has no value"),
    ("read pitch = 196 Hz", "write read pitch string 3"),
    ("read string height string 1 = 1.6 mm", "at fret 12"),
    ("read rear gap = 2.6", "no unit"),
    ("read rear gap = 2 to 3 mm", "more than one value"),
    ("read rear gap = 2.6 mm quickly", "not a unit"),
    ("read rear gap = 2.6 mm, at pitch, quickly", "says nothing about the state"),
    ("read rear gap = 2.6 mm at pitch, slack", "cannot both be"),
    ("read rear gap = 2.6 mm with tuner", "does not read rear gap"),
    ("read rear gap = 2.6 mm with yardstick", "no usual gauge"),
    ("read pitch string 3 = 196 ± 0.3 c", "no unit"),
    ("read pitch string 3 = 196 Hz ± 0 c", "not greater than zero"),
    ("read pitch string 3 = 5000 c", "up to 2400"),
    ("read pitch string 0 = 196 Hz", "string 0"),
    ("read wedge loose = maybe", "yes or no"),
    ("read relief held at 17 and 1, read at 8 = .010 in", "do not rise"),
    ("did claw 1 turn", "write did claw in"),
    ("did claw in -1 turn", "only the direction"),
    ("did claw in 99 turns", "up to 40"),
    ("did wedge out at 2 mm", "stands alone"),
    ("did springs 9", "up to 7"),
    ("did springs many", "write did springs 4"),
    ("strike it", "number and reason"),
    ("strike 15", "number and reason"),
    ("strike 0 why", "number and reason"),
    ("note \x07", "control character"),
    ("note torn here [torn]", "torn line"),
    ("note " + "x" * 501, "too long"),
]


@pytest.mark.parametrize(("words", "part"), REFUSED)
def test_refusals_are_one_sentence_with_a_way_out(words, part):
    with pytest.raises(InputError) as caught:
        said(words)
    message = str(caught.value)
    assert part in message
    assert message[-1] in ".?"
    assert "\n" not in message


def test_nothing_after_the_verb():
    with pytest.raises(InputError, match="nothing is written"):
        parse("note", "  ", WHEN)


def test_missing_unit_is_an_error_of_units():
    with pytest.raises(UnitError):
        said("read rear gap = 2.6")


@pytest.mark.parametrize(
    "words",
    [
        "read string height string 1 at fret 12 = 16 mm",
        "read pitch string 3 = 500 c",
        "did rod tighter 3/4 turn",
        "did claw in 9 turns",
    ],
)
def test_unlikely_values_are_asked_about_unless_confirmed(words):
    with pytest.raises(QuestionableError, match="word sure"):
        said(words)
    by_word, by_flag = said(f"{words} sure"), said(words, sure=True)
    assert by_word == by_flag
    assert by_flag.sure
    assert said(f"{words}, sure").value == by_flag.value


def test_a_name_is_one_line():
    for who in ("a\nb", " ", "x" * 61, '"'):
        with pytest.raises(InputError, match="a name cannot"):
            said("note x", who=who)


@pytest.mark.parametrize(
    "line",
    [
        "2026-11-25 14:31:07  #12  read  pitch string 3 = 196.02 Hz ± 0.3 c",
        "2026-11-25 14:31:40  #13  did   tune string 3 to 194.9 Hz, heard 194.95 Hz",
        '2026-11-25 14:33:02  #14 by "Ada B"  did   claw in 1 3/8 turns',
        "2026-11-25 14:33:20  #15 by Ada  read  rear gap = 2.6 mm ± 0.05 mm at pitch, playing",
        "2026-11-25 14:35:00  #17  strike #15: read on the wrong side",
    ],
)
def test_a_line_comes_back_as_it_was(line):
    assert line_of(parse_line(line)) == line


def test_a_line_typed_by_hand_may_be_loose():
    entry = parse_line(" 2026-11-25 14:31 #12 did  claw   in 1 turn ")
    assert line_of(entry) == "2026-11-25 14:31:00  #12  did   claw in 1 turn"


@pytest.mark.parametrize(
    ("line", "part"),
    [
        ("claw in 1 turn", "is no entry"),
        ("2026-13-25 14:31:07  #1  note  x", "no date and time"),
        ("2026-11-25 14:31:07  #0  note  x", "counted from #1"),
        ("2026-11-25 14:31:07  note  x", "is no entry"),
    ],
)
def test_lines_that_are_no_entries(line, part):
    with pytest.raises(InputError, match=part):
        parse_line(line)


def test_live_leaves_out_what_is_struck_and_what_strikes():
    one, two = said("note a"), replace(said("note b"), struck_by=3)
    assert live((one, two, said("strike 2 why"))) == (one,)
