"""Instrument and job files: what is read, what is filled in, and what every refusal says."""

from pathlib import Path

import pytest

from setwright.errors import FileFormatError, InputError, QuestionableError, UnitError
from setwright.instrument.document import from_bytes, from_path
from setwright.instrument.files import instrument_from_bytes, read_instrument
from setwright.instrument.jobfile import job_from_bytes, read_job
from setwright.instrument.locate import key_lines

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


# --- what is read ---


def test_an_instrument():
    read = read_instrument(EXAMPLES / "kestrel.instrument.toml")
    assert (read.name, read.strings, read.frets, read.handed) == ("Kestrel", 6, 22, "right")
    assert read.bridge.name == "two-post knife edge"
    entry, typed = read.entry("bridge", "pivot_height")
    assert typed
    assert (entry.value[0].si, entry.value[0].band, entry.value[0].stated) == (0.0041, 0.0001, True)
    entry, typed = read.entry("bridge", "mass")
    assert not typed
    assert entry.source == "common practice, no source"
    assert read.place("bridge", "pivot_height") == "kestrel.instrument.toml, line 11, bridge.pivot_height"
    assert read.place("bridge", "mass") == "kestrel.instrument.toml"


def test_a_job():
    read = read_job(EXAMPLES / "kestrel-float.job.toml")
    assert read.title == "Kestrel: decked to floating"
    assert read.found.bridge == "decked"
    assert [round(one.si, 3) for one in read.found.tuning] == [329.628, 246.942, 195.998, 146.832, 110.0, 82.407]
    treble, bass = read.found.claw_distance
    assert (treble.si, bass.si, bass.written.text) == (0.0125, 0.0126, "12.6 mm ± 0.2 mm")
    assert read.found.saddle_room.down[5].si == pytest.approx(3e-4)
    assert len(read.found.saddle_room.up) == 6
    assert read.found.relief.hold == (1, 17)
    assert read.want.rear_gap.si == pytest.approx(2.6e-3)
    assert read.want.gap_tolerance == pytest.approx(0.25e-3)
    assert read.want.strings == read.found.strings
    heights = [one.si for one in read.want.string_height.amounts]
    assert heights == pytest.approx([1.6e-3, 1.68e-3, 1.76e-3, 1.84e-3, 1.92e-3, 2.0e-3])
    assert [s.thickness.si for s in read.shop.shims] == pytest.approx([2.54e-4, 3.81e-4, 5.08e-4, 7.62e-4])
    assert read.limits.peak.si == 50.0


def test_every_default_of_a_short_job():
    read = job(f'[job]\ntitle = "t"\ninstrument = "kestrel.instrument.toml"\n[found]\nstrings = {SIX}\n')
    assert (read.found.bridge, read.found.springs, read.found.state) == ("floating", 3, "at pitch")
    assert (read.found.attitude, read.found.temperature) == ("playing", 293.15)
    assert read.found.rear_gap is None
    assert read.found.claw_distance is None
    assert (read.found.saddle_room.up, read.found.saddle_room.down) == (None, None)
    assert read.want.level
    assert read.want.rear_gap is None
    assert read.want.gap_tolerance == pytest.approx(0.25e-3)
    assert read.want.tuning == read.found.tuning
    assert (read.want.pitch_tolerance.si, read.limits.peak.si, read.limits.stress.si) == (2.0, 50.0, 0.8)
    assert [s.thickness.written.text for s in read.shop.shims] == [".010 in", ".015 in", ".020 in", ".030 in"]
    assert [(s.kind, s.count) for s in read.shop.springs] == [("usual", 2)]
    assert (read.want.up_bend, read.want.radius, read.want.relief, read.want.string_height) == (None,) * 4


def test_a_floating_bridge_wanted_as_found_keeps_its_gap():
    text = f'[job]\ntitle = "t"\ninstrument = "k"\n[found]\nstrings = {SIX}\nrear_gap = ["2.2 mm", "2.4 mm"]\n'
    read = job(text)
    assert read.want.rear_gap.si == pytest.approx(2.3e-3)
    assert read.want.rear_gap.band == pytest.approx(0.25e-3)
    assert not read.want.level


def test_a_decked_bridge_has_no_gap():
    read = job(swapped(FLOAT, 'rear_gap = "0 mm ± 0.05 mm"\n', ""))
    assert [one.si for one in read.found.rear_gap] == [0.0, 0.0]


def test_a_fixed_bridge():
    read = job(FIXED, WIGEON)
    assert (read.found.bridge, read.found.springs, read.want.bridge) == ("fixed", 0, "fixed")
    assert read.want.radius.si == pytest.approx(0.3048)
    assert read.found.string_height.amounts[0].si == pytest.approx(5 / 64 * 0.0254)


def test_a_reference_pitch_moves_the_tuning():
    moved = job(swapped(FLOAT, 'tuning = "standard"', 'tuning = "standard"\nreference = "442 Hz"'))
    assert moved.found.tuning[4].si == pytest.approx(110.5)
    assert moved.want.tuning[4].si == pytest.approx(110.5)
    wanted = job(swapped(FLOAT, 'pitch_tolerance = "2 c"', 'reference = "432 Hz"'))
    assert wanted.found.tuning[4].si == pytest.approx(110.0)
    assert wanted.want.tuning[4].si == pytest.approx(108.0)
    notes = swapped(FLOAT, 'tuning = "standard"', 'tuning = ["E4", "B3", "G3", "D3", "A2", "E2"]\nreference = "430 Hz"')
    assert job(notes).found.tuning[4].si == pytest.approx(107.5)
    both = swapped(notes, 'pitch_tolerance = "2 c"', 'tuning = ["D4", "A3", "F3", "C3", "G2", "D2"]')
    assert job(both).want.tuning[1].si == pytest.approx(215.0)


def test_a_bass_has_the_tuning_of_a_bass():
    curlew = (EXAMPLES / "curlew.instrument.toml").read_text(encoding="utf-8")
    text = '[job]\ntitle = "t"\ninstrument = "k"\n[found]\nstrings = [".045w", ".065w", ".085w", ".105w"]\n'
    assert [round(one.si, 1) for one in job(text, curlew).found.tuning] == [98.0, 73.4, 55.0, 41.2]


def test_a_gauge_gives_the_uncertainty():
    read = job(swapped(FLOAT, '"0 mm ± 0.05 mm"', '{ value = "0 mm", gauge = "feeler gauges" }'))
    assert read.found.rear_gap[0].gauge == "feeler gauges"
    assert read.found.rear_gap[0].band == pytest.approx(0.289e-3, rel=0.01)  # 0 mm as written, not the feeler's step
    pitches = '[{ value = "E4", gauge = "tuner" }, "B3 ± 1 c", "G3", "D3", "A2", "82.4 Hz"]'
    read = job(swapped(FLOAT, 'bridge = "decked"', f'bridge = "decked"\npitches = {pitches}'))
    assert read.found.pitches[0].band == pytest.approx(329.63 * 1.0 / 1731.2, rel=0.01)


def test_an_unusual_value_can_be_confirmed():
    odd = swapped(FLOAT, 'rear_gap = "2.6 mm ± 0.25 mm"', 'rear_gap = { value = "15 mm ± 0.25 mm", sure = true }')
    assert job(odd).want.rear_gap.si == pytest.approx(0.015)
    text = refusal(job, swapped(FLOAT, '"2.6 mm ± 0.25 mm"', '"15 mm"'), kind=QuestionableError)
    assert text.startswith(
        "kestrel-float.job.toml, line 21, want.rear_gap: '15 mm' is possible but outside the usual -6"
    )


def test_springs_may_be_hung_by_ones_own_pattern():
    text = KESTREL + "places = 3\npatterns = { 2 = [1, 3], 3 = [1, 2, 3] }\n"
    assert instrument(text).entry("springs", "patterns")[0].value == {2: (0, 2), 3: (0, 1, 2)}


def test_a_string_can_be_described():
    weighed = '{ gauge = ".026w", wrap = "nickel", unit_mass = "2.4 g/m ± 0.02 g/m", core = ".014 in" }'
    read = job(swapped(FLOAT, '".026w"', weighed))
    assert read.found.strings[3].wrap == "nickel"
    assert read.found.strings[3].measured["unit_mass"].si == pytest.approx(2.4e-3)


# --- files themselves ---


def test_missing_and_unreadable_files(tmp_path):
    assert "there is no file" in refusal(read_job, tmp_path / "none.job.toml", kind=FileFormatError)
    assert "cannot be read" in refusal(from_path, tmp_path, kind=FileFormatError)
    path = tmp_path / "a.job.toml"
    path.write_text(FLOAT, encoding="utf-8")
    assert "there is no file" in refusal(read_job, path, kind=FileFormatError)
    path.write_text(swapped(FLOAT, '"kestrel.instrument.toml"', '"bad\\u0000name"'), encoding="utf-8")
    refusal(read_job, path, kind=FileFormatError)


def test_bytes_that_are_no_text():
    assert "line 2: this is not text in UTF-8" in refusal(from_bytes, b"a = 1\nb = \xff", "x.toml")
    assert "too large for a file typed by hand" in refusal(from_bytes, b"#" * 300_000, "x.toml")
    assert "too deeply" in refusal(from_bytes, b"a = " + b"[" * 3000 + b"]" * 3000, "x.toml")
    assert "not valid TOML" in refusal(from_bytes, b"a = " + b"9" * 5000, "x.toml")
    assert "not valid TOML" in refusal(from_bytes, b"a = 2021-13-40", "x.toml")
    assert from_bytes(b"\xef\xbb\xbfa = 1\r\n", "x.toml").data == {"a": 1}


def test_a_unit_error_is_an_input_error():
    with pytest.raises(UnitError):
        job(swapped(FLOAT, '"2.6 mm ± 0.25 mm"', '"2.6 furlong"'))


def test_lines_of_keys():
    text = """# top
a = 1
"b c".d = { e = 2, f = [3,
  4] } # tail
long = [
  "x", # one
  { y = 1 },
]
text = \"\"\"
[no.table]
still = "text"\"\"\"
raw = '''
k = 1'''
when = 1979-05-27 07:32:00

[t.u]
'q"' = "\\"]\\u0041"
[[t.v]]
w = 1
[[t.v]]
w = 2
[t.v.deep]
z = true
"""
    lines = key_lines(text)
    assert lines[("a",)] == 2
    assert lines["b c", "d", "f", 1] == 4
    assert lines["long", 0] == 6
    assert lines["long", 1, "y"] == 7
    assert lines[("text",)] == 9
    assert lines[("raw",)] == 12
    assert lines[("when",)] == 14
    assert lines["t", "u", 'q"'] == 17
    assert lines["t", "v", 0, "w"] == 19
    assert lines["t", "v", 1, "w"] == 21
    assert lines["t", "v", 1, "deep", "z"] == 23


def test_a_stroke_that_must_stay_clean():
    assert job().want.clean is None
    assert job(swapped(FLOAT, "[want]", "[want]\nclean = false")).want.clean is None
    own = job(swapped(FLOAT, "[want]", "[want]\nclean = true")).want.clean
    assert (own.force, own.place) == (None, None)
    stroke = 'clean = true\nstroke = { force = "1 N", place = "12 %" }'
    given = job(swapped(FLOAT, "[want]", f"[want]\n{stroke}")).want.clean
    assert (given.force.si, given.place.si) == (1.0, pytest.approx(0.12))
