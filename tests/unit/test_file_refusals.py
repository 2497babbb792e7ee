"""What a job or instrument file may not say, and the one sentence that names file, line, field and what is allowed."""

from pathlib import Path

import pytest

from setwright.errors import ContradictionError, InputError
from setwright.instrument.files import instrument_from_bytes
from setwright.instrument.jobfile import job_from_bytes

EXAMPLES = Path(__file__).parents[2] / "examples"
KESTREL = (EXAMPLES / "kestrel.instrument.toml").read_text(encoding="utf-8")
FLOAT = (EXAMPLES / "kestrel-float.job.toml").read_text(encoding="utf-8")
WIGEON = (EXAMPLES / "wigeon.instrument.toml").read_text(encoding="utf-8")
FIXED = (EXAMPLES / "wigeon-reradius.job.toml").read_text(encoding="utf-8")
SIX = '[".010", ".013", ".017", ".026w", ".036w", ".046w"]'


def instrument(text=KESTREL):
    return instrument_from_bytes(text.encode(), "kestrel.instrument.toml")


def job(text=FLOAT, on=KESTREL):
    return job_from_bytes(text.encode(), "kestrel-float.job.toml", instrument(on))


def swapped(text, old, new):
    assert old in text
    return text.replace(old, new, 1)


def refusal(call, *args, kind=InputError):
    with pytest.raises(kind) as caught:
        call(*args)
    text = str(caught.value)
    assert "\n" not in text
    assert text.endswith((".", "?", "!", "})", ")"))
    return text


JOB_REFUSALS = [
    ('rear_gap = "2.6 mm ± 0.25 mm"', 'rear_gap = "2.6 mm ± 1e300 mm"', "a ± wider than all that is possible"),
    ('rear_gap = "2.6 mm ± 0.25 mm"', 'rear_gap = "1e308 m to 1.7e308 m"', "is not a finite number"),
    (
        'state = "at pitch"',
        'pitches = ["E2", "A2", "D3", "G3", "B3", "E4"]',
        "found.pitches[1]: 'E2' is -2400 c from the tuning of string 1, 'E4'",
    ),
    ('title = "Kestrel: decked to floating"', 'title = " "', "job.title: ' ' stands where words in quotes belong"),
    ('wish = "Wants', f'wish = "{"long " * 500}Wants', "job.wish: longer than 2000 characters"),
    (
        'state = "at pitch"',
        'stat = "at pitch"',
        "line 10, found.stat: there is no field of this name here; did you mean 'state'?",
    ),
    ("[limits]", "[limit]", "limit: there is no field of this name here; did you mean 'limits'?"),
    ("[limits]\npeak", "[limits]\nzzz", "known here: peak, stress."),
    ('title = "Kestrel: decked to floating"\n', "", "line 2, job: the field 'title' is missing"),
    (
        'rear_gap = "2.6 mm ± 0.25 mm"',
        'rear_gap = "2.6"',
        "line 21, want.rear_gap: '2.6' has no unit; add one of mm, in",
    ),
    (
        'rear_gap = "2.6 mm ± 0.25 mm"',
        "rear_gap = 2.6",
        "want.rear_gap: 2.6 has no unit; write it in quotes with its unit",
    ),
    ('rear_gap = "2.6 mm ± 0.25 mm"', "rear_gap = nan", "want.rear_gap: nan has no unit"),
    ('rear_gap = "2.6 mm ± 0.25 mm"', 'rear_gap = "nan mm"', "is not a number"),
    ('rear_gap = "2.6 mm ± 0.25 mm"', "rear_gap = true", "want.rear_gap: true is not a value"),
    ('rear_gap = "2.6 mm ± 0.25 mm"', 'rear_gap = ["2 mm", "3 mm"]', "one value belongs here, not a list"),
    ('rear_gap = "2.6 mm ± 0.25 mm"', 'rear_gap = "2.6 m"', "outside what is possible, -15 to 25 mm"),
    ('rear_gap = "2.6 mm ± 0.25 mm"', 'rear_gap = "2.6 mm ± 0 mm"', "tolerance"),
    ('rear_gap = "2.6 mm ± 0.25 mm"', "rear_gap = {}", 'write { value = "..."'),
    ('rear_gap = "2.6 mm ± 0.25 mm"', 'rear_gap = { value = "2 mm", sur = true }', "did you mean 'sure'?"),
    ('rear_gap = "2.6 mm ± 0.25 mm"', 'rear_gap = { value = "2 mm", sure = "yes" }', 'write { value = "..."'),
    (
        'rear_gap = "2.6 mm ± 0.25 mm"',
        'rear_gap = { value = "2 mm", gauge = "ruler" }',
        "no usual gauge called 'ruler'",
    ),
    (
        'rear_gap = "2.6 mm ± 0.25 mm"',
        'rear_gap = { value = "2 mm", gauge = "tuner" }',
        "a tuner does not show a length",
    ),
    ('rear_gap = "0 mm ± 0.05 mm"', 'rear_gap = "3 mm"', "line 14, found.rear_gap: decked with a rear gap of '3 mm'"),
    ('rear_gap = "0 mm ± 0.05 mm"', 'rear_gap = ["0 mm", "0 mm", "0 mm"]', "3 values stand where 2 belong"),
    ('"2.2 mm", "2.2 mm"]', '"2.2 mm"]', "found.string_height: 5 heights for 6 strings"),
    (
        'values = ["1.9 mm"',
        'bass = "2 mm", values = ["1.9 mm"',
        "write either values, one per string, or treble and bass",
    ),
    ('treble = "1.6 mm ± 0.25 mm", ', "", "want.string_height: write either values"),
    ("[want]", '[want]\nclean = "yes"', "want.clean: 'yes' stands where true or false belongs"),
    ("[want]", '[want]\nstroke = { force = "1 N" }', "want.stroke: a stroke was given but clean was not asked for"),
    (
        "[want]",
        '[want]\nclean = true\nstroke = { place = "40 %" }',
        "want.stroke.place: '40 %' falls on the fretboard; with 22 frets a stroke is at most 27 % from the saddle",
    ),
    ("[want]", '[want]\nclean = true\nstroke = { force = "30 N" }', "outside what is possible, 0.01 to 20 N"),
    ("fret = 12, values", "fret = 23, values", "found.string_height.fret: fret 23 on a fretboard with 22"),
    ("fret = 12, values", 'fret = "12", values', "where a whole number from 1 to 36 belongs"),
    ("fret = 12, values", "fret = true, values", "true stands where a whole number"),
    ("hold = [1, 17], read = 8", "hold = [9, 17], read = 8", "the fret read must lie between the frets held, 9 and 17"),
    ("hold = [1, 17], read = 8", "hold = 1, read = 8", "where two frets belong"),
    ("hold = [1, 17], read = 8", "hold = [1, 24], read = 8", "fret 24 on a fretboard with 22"),
    ('up = "6 mm"', 'up = ["6 mm", "5 mm"]', "found.saddle_room.up: 2 values for 6 strings"),
    ("springs = 3", "springs = 6", "has no places for 6 springs; known: 1, 2, 3, 4, 5"),
    ("springs = 3", "springs = 100000000000000000000", "a very large number stands where"),
    (
        'bridge = "decked"\nsprings = 3',
        'bridge = "floating"\nsprings = 0',
        "a floating bridge cannot stand with 0 springs",
    ),
    ('"12.6 mm ± 0.2 mm"', '"39 mm"', "found.claw_distance: '39 mm' is outside the claw's travel, 2 to 34 mm"),
    ('bridge = "decked"', 'bridge = "fixed"', "line 11, found.bridge: 'fixed' does not go with 'two-post knife edge'"),
    ('bridge = "decked"', 'bridge = "deckd"', "did you mean 'decked'?"),
    ('bridge = "decked"', "bridge = 7", "found.bridge: 7 is not one of 'floating', 'decked'"),
    ('bridge = "floating"', 'bridge = "fixed"', "want.bridge: 'fixed' does not go with"),
    ('bridge = "floating"', 'bridge = "dive-only"', "want.rear_gap: a dive-only bridge has no gap to choose"),
    ('rear_gap = "2.6', 'up_bend = { string = 7, semitones = 3 }\nrear_gap = "2.6', "there are only 6 strings"),
    (
        'bridge = "floating"\nrear_gap = "2.6 mm ± 0.25 mm"',
        'bridge = "decked"\nup_bend = { semitones = 3 }',
        "cannot be pulled up",
    ),
    ('tuning = "standard"', 'tuning = "drop"', "found.tuning: 'drop' stands where a list belongs"),
    ('tuning = "standard"', 'tuning = ["E4", "B3"]', "found.tuning: 2 notes for 6 strings"),
    ('tuning = "standard"', 'tuning = ["E2", "A2", "D3", "G3", "B3", "E4"]', "write the notes from string 1"),
    (
        'tuning = "standard"',
        'tuning = ["E", "B3", "G3", "D3", "A2", "E2"]',
        "line 9, found.tuning[1]: 'E' has no octave",
    ),
    (
        'tuning = "standard"',
        'reference = "300 Hz"',
        "line 9, found.reference: '300 Hz' is outside what is possible, 380 to 500 Hz",
    ),
    (SIX, '[".046w", ".036w", ".026w", ".017", ".013", ".010"]', "string 1 is the thinnest"),
    (SIX, '[".010", ".013", ".017", ".026w", ".036w"]', "found.strings: 5 gauges for 6 strings"),
    (SIX, '[".010", ".013"]', "a set is a list of 3 to 12 gauges"),
    (SIX, '".010"', "a set is a list of 3 to 12 gauges"),
    ('".026w"', "26", "found.strings[4]: 26 is not a gauge"),
    ('".026w"', '".046"', "line 8, found.strings[4]: '.046' is no gauge of a plain string"),
    ('".026w"', '{ wrap = "nickel" }', "found.strings[4]: the field 'gauge' is missing"),
    (
        'state = "at pitch"',
        'state = "slack"\npitches = ["E4", "B3", "G3", "D3", "A2", "E2"]',
        "strings that are slack have no pitches",
    ),
    ('state = "at pitch"', 'pitches = ["E4", "B3"]', "found.pitches: 2 pitches for 6 strings"),
    ("[shop]\nshims = [", "[shop]\nspring = 1\nshims = [", "did you mean 'springs'?"),
    (
        'kind = "usual", count = 2',
        'kind = "usal", count = 2',
        "shop.springs[1].kind: there is no spring pattern 'usal'",
    ),
    (
        'kind = "strip", thickness = ".015 in"',
        'kind = "strip"',
        "line 28, shop.shims[2]: the field 'thickness' is missing",
    ),
    (
        'kind = "strip", thickness = ".015 in"',
        'kind = "strip", thickness = "15"',
        "line 28, shop.shims[2].thickness: '15' has no unit",
    ),
    ('kind = "strip", thickness = ".015 in"', 'kind = "strip", thickness = ".150 in"', "confirm with"),
    ("[shop]\nshims = [", "[shop]\nshims = 3\nother = [", "no field of this name"),
    ('peak = "50 c"', 'peak = "5000 c"', "limits.peak: '5000 c' is outside what is possible, 0 to 600 c"),
    ('wish = "Wants', 'wish = 3\nnotes = "Wants', "job.wish: 3 stands where words in quotes belong"),
    ("[found]", "[found", "line 7: not valid TOML"),
    (': decked to floating"', "", "line 3: not valid TOML"),
]


@pytest.mark.parametrize(("old", "new", "says"), JOB_REFUSALS)
def test_a_job_that_cannot_be(old, new, says):
    text = refusal(job, swapped(FLOAT, old, new))
    assert text.startswith("kestrel-float.job.toml")
    assert says in text


INSTRUMENT_REFUSALS = [
    ("[springs]", "[springs]\npatterns = { 2 = [1, 1, 3] }", "write a number of springs and its places"),
    (
        'kind = "two-post knife edge"',
        'kind = "two posts"',
        "line 10, bridge.kind: there is no bridge pattern 'two posts'",
    ),
    (
        'kind = "bolt-on maple"',
        'kind = "oak"',
        "line 15, neck.kind: there is no neck pattern 'oak'; known: 'bolt-on maple'",
    ),
    ('scale = "25 1/2 in"', "", "line 2, instrument: the field 'scale' is missing"),
    ('scale = "25 1/2 in"', 'scale = "25.5"', "instrument.scale: '25.5' has no unit"),
    ('scale = "25 1/2 in"', 'scale = "25 mm"', "outside what is possible, 450 to 1000 mm"),
    ("frets = 22", "frets = 22.0", "instrument.frets: 22.0 stands where a whole number from 12 to 36 belongs"),
    ("frets = 22", "fretts = 22", "did you mean 'frets'?"),
    ("frets = 22", 'handed = "both"', "instrument.handed: 'both' is not one of 'right', 'left'"),
    ('radius = ["9 1/2 in", "12 in"]', "radius = []", "0 values stand where 2 belong"),
    ("[nut]", '[nut]\nslot = ["1.5 mm", "1.5 mm"]', "nut.slot: 2 values for 6 strings"),
    ("[nut]", '[nut]\nlocked = "yes"', "where true or false belongs"),
    ("[nut]", '[nut]\nfriction = "0.1 mm"', "is a plain number here; leave out 'mm'"),
    ("[nut]", "[nut]\nfriction = inf", "nut.friction"),
    ("[nut]", '[nut]\nfriction = "0.1 ± 0"', "not greater than zero"),
    ("[nut]", '[nut]\nfriction = "± 0.1"', "lacks a number beside ±"),
    ("[springs]", '[springs]\nrate = "3.5 kg/mm"', "kg is a mass"),
    ("[springs]", "[springs]\npatterns = { 3 = [1, 2] }", "write a number of springs and its places"),
    ("[springs]", "[springs]\npatterns = { 2 = [1, 9] }", "counted from 1 (treble) to 7"),
    ("[springs]", "[springs]\nplaces = 3", "2 springs use place 4, but there are only 3 places"),
    ("[springs]", "[springs]\npatterns = 3", "where a table belongs"),
    ("[springs]", '[claw]\ntravel = ["30 mm", "3 mm"]\n[springs]', "write the least first"),
    ("[springs]", '[claw]\nlead = "15 tpi"\nangle = "3"\n[springs]', "has no unit"),
    ("[bridge]", '[bridge]\nsaddle_aft = "14 mm"\nreach = "12 mm"', "say the same thing twice"),
    ("[bridge]", '[bridge]\npivot_place = "500 mm"', "bridge.pivot_place: the pivot is not near the scale length"),
    ("[bridge]", '[bridge]\nblock_rear = "3 mm"', "where [aft, below] belongs"),
    ("[neck]", '[neck]\njoint = "150 mm"', "neck.joint: '150 mm' is not between 0.4 and 0.8 of the scale length"),
    ("[neck]", '[neck]\njoint = "fret 40"', "is not a fret"),
    ("[neck]", '[neck]\nstiffness = "300 N"', "'N' is not a unit of rigidity; use one of N m2"),
    ("[neck]", '[neck]\nstiffness = "5 ± 0.1"', "has no unit"),
    ("[instrument]", "instrument = 3\n[x]", "no field of this name"),
    ("[instrument]", "[[instrument]]", "where a table belongs"),
]


@pytest.mark.parametrize(("old", "new", "says"), INSTRUMENT_REFUSALS)
def test_an_instrument_that_cannot_be(old, new, says):
    text = refusal(instrument, swapped(KESTREL, old, new))
    assert text.startswith("kestrel.instrument.toml")
    assert says in text


def test_a_fixed_bridge_has_no_springs_no_claw_and_no_gap():
    assert "is a fixed bridge and has none" in refusal(instrument, WIGEON + '[springs]\nkind = "usual"\n')
    for more in ("springs = 3", 'rear_gap = "2 mm"', 'claw_distance = "9 mm"'):
        text = refusal(job, swapped(FIXED, "[found]", f"[found]\n{more}"), WIGEON, kind=ContradictionError)
        assert "a fixed bridge has none" in text


def test_a_tuning_nobody_agreed_on():
    odd = swapped(swapped(KESTREL, "strings = 6", "strings = 9"), "frets", "frets")
    nine = swapped(FLOAT, SIX, "[" + ", ".join(['".010"'] * 9) + "]")
    text = refusal(job, swapped(nine, 'values = ["1.9 mm", "2.0 mm", "2.0 mm", "2.2 mm", "2.2 mm", "2.2 mm"]',
                                'treble = "2 mm", bass = "2 mm"'), odd)  # fmt: skip
    assert "no standard tuning is known for 9 strings" in text


def test_a_missing_table():
    assert "the table [instrument] is missing" in refusal(instrument, '[bridge]\nkind = "two-post knife edge"\n')
