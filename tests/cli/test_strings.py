"""`setwright strings` with everything beside the plain sheet: answers, nonsense, both systems, JSON."""

import json
from pathlib import Path

import pytest

from setwright.cli.layout import WIDTH
from setwright.cli.main import run

TENS = ".010 .013 .017 .026w .036w .046w"
AT = ("--scale", "25.5 in")
SAME = ("--feel", "same", "--was", TENS, "--was-tuning", "standard", "--was-scale", "25.5 in")
EQUAL = ("--feel", "equal", "--pull", "16 lb", "--tuning", "E4 B3 G3 D3 A2 E2")
MIXED = ".02 in, 1 mm, 2 mm, 2 mm, 3 mm, .12 in"
ANSWERED = {
    "seven": (TENS + " .059w", *AT),
    "eight, fanned": (TENS + " .059w .074w", "--scale", "25.5 in, 27 in", "--reference", "442 Hz"),
    "fan in millimetres": (TENS, "--scale", "648 mm to 686 mm", "--capo", "3"),
    "baritone": (".013 .017 .026w .036w .046w .062w", "--scale", "27 in", "--tuning", "baritone"),
    "bass of four": (".045w .065w .085w .105w", "--scale", "34 in"),
    "bass of five": (".045w .065w .085w .105w .130w", "--scale", "34 in", "--tuning", "standard -5"),
    "bass of six": (".032w .045w .065w .085w .105w .130w", "--scale", "34 in", "--slot", MIXED),
    "thin strings of a bass": (".020 .028w .042w .052w", "--scale", "34 in", "--bass", "--tuning", "C3 G2 D2 A1"),
    "slots": (TENS, *AT, "--slot", ".009 .014 .018 .028 .038 .040"),
    "against another": (".011 .014 .020w .028w .038w .052w", *AT, "--was", TENS, "--tuning", "standard -3"),
    "against a lower one": (TENS, *AT, "--was", TENS, "--was-tuning", "standard -2"),
    "against another instrument": (".011 .014 .018w .028w .038w .049w", *AT, "--was", TENS, "--was-scale", "24.75 in"),
    "as on a shorter scale": (".010 .013 .017 .026w .036w .046w", *AT, "--was", ".0105 .013 .018 .027w .037w .047w",
                              "--was-scale", "24.75 in"),
    "against itself": (TENS, *AT, "--was", TENS),
    "slack and touchy": (TENS, *AT, "--tuning", "standard -7"),
    "breaking": (TENS, *AT, "--tuning", "standard +4"),
    "own masses": (TENS, *AT, "--mass", "4: 2.31 g/m ± 0.02 g/m", "--printed", "1: 16.2 lb at E4, 25.5 in"),
    "same": (*SAME, "--tuning", "D4 A3 F3 C3 G2 D2", *AT),
    "same, fanned": (*SAME, "--tuning", "standard -5", "--scale", "25.5 in, 27 in", "--reference", "432 Hz"),
    "same, far off": (*SAME, "--tuning", "standard -12", "--scale", "24.75 in"),
    "same, slots": (*SAME, *AT, "--tuning", "standard -2", "--slot", ".013 .016 .020 .028 .042 .050"),
    "same, own scale": ("--feel", "same", "--was", TENS, "--tuning", "standard -1", *AT),
    "equal": (*EQUAL, *AT),
    "equal to the mean": ("--feel", "equal", "--was", TENS, *AT),
    "equal, bass": ("--feel", "equal", "--pull", "40 lb", "--tuning", "G2 D2 A1 E1", "--scale", "34 in"),
}  # fmt: skip
REFUSED = {
    "nothing": ((), "no strings are named"),
    "pull without feel": ((TENS, *AT, "--pull", "16 lb"), "--pull: only"),
    "set with feel": ((TENS, *SAME, *AT), "leave it out"),
    "same as what": (("--feel", "same", *AT, "--tuning", "D4 A3 F3"), "as which set"),
    "same with a pull": ((*SAME, *AT, "--pull", "16 lb"), "--pull:"),
    "equal without a pull": (("--feel", "equal", *AT, "--tuning", "D4 A3 F3"), "how much"),
    "equal of how many": (("--feel", "equal", "--pull", "16 lb", *AT), "how many strings"),
    "equal, no notes": (("--feel", "equal", "--pull", "16 lb", *AT, "--tuning", " "), "no note"),
    "pull in kilograms": ((*EQUAL[:2], "--pull", "16", *EQUAL[4:], *AT), "no unit"),
    "pull of a horse": ((*EQUAL[:2], "--pull", "900 lb", *EQUAL[4:], *AT), "none of a string's"),
    "feel with a capo": ((*SAME, *AT, "--capo", "2"), "--capo:"),
    "feel with a mass": ((*SAME, *AT, "--mass", "1: 0.4 g/m"), "--mass:"),
    "feel, other count": ((*SAME, *AT, "--tuning", "E4 B3 G3"), "6 strings were on and 3 pitches"),
    "feel without scale": ((*SAME,), "scale length is missing"),
    "no such capo": ((TENS, *AT, "--capo", "13"), "capo at fret 13"),
    "three scales": ((TENS, "--scale", "25 in, 26 in, 27 in"), "3 lengths"),
    "fan the wrong way": ((TENS, "--scale", "27 in, 25.5 in"), "longer scale"),
    "fan too wide": ((TENS, "--scale", "20 in, 34 in"), "too far apart"),
    "fan without unit": ((TENS, "--scale", "25.5, 27 in"), "no unit"),
    "slots too few": ((TENS, *AT, "--slot", ".010 .013"), "2 widths for 6 strings"),
    "slots as one word": ((TENS, *AT, "--slot", "0.3 mm"), "1 widths for 6 strings"),
    "slots too wide": ((TENS, *AT, "--slot", ".010 .013 .017 .026 .036 .460"), "no width of a nut slot"),
    "no thing in a slot": ((TENS, *AT, "--slot", "wide"), "--slot"),
    "was without was": ((TENS, *AT, "--was-tuning", "standard"), "--was-tuning"),
    "was of another size": ((TENS, *AT, "--was", ".045w .065w .085w .105w"), "6 strings where 4 were on"),
    "was with other notes": ((TENS, *AT, "--was", TENS, "--was-tuning", "E4 B3 G3"), "6 strings and 3 pitches"),
    "was that is none": ((TENS, *AT, "--was", "x y z"), "--was"),
    "mass of which": ((TENS, *AT, "--mass", "2.31 g/m"), "which string"),
    "mass of string 7": ((TENS, *AT, "--mass", "7: 2.31 g/m"), "no string 7"),
    "mass twice": ((TENS, *AT, "--mass", "4: 2.31 g/m", "--printed", "4: 18 lb at D3, 25.5 in"), "given twice"),
    "mass of another": ((TENS, *AT, "--mass", "1: 2.31 g/m"), "times what that gauge usually weighs"),
    "print without note": ((TENS, *AT, "--printed", "1: 16.2 lb"), "not understood"),
    "print without unit": ((TENS, *AT, "--printed", "1: 16.2 at E4, 25.5 in"), "no unit"),
    "print of zero": ((TENS, *AT, "--printed", "1: 0 lb at E4, 25.5 in"), "above zero"),
    "print, wrong octave": ((TENS, *AT, "--printed", "1: 16.2 lb at E3, 25.5 in"), "times what that gauge"),
    "far shift": ((TENS, *AT, "--tuning", "standard -14"), "12 semitones"),
    "no tuning of nine": ((TENS + " .059w .074w .080w", *AT), "no standard tuning is known for 9 strings"),
    "a job says it": (("examples/lapwing-pull.job.toml", "--capo", "2"), "--capo: the job file says"),
}  # fmt: skip


@pytest.fixture
def ask(capsys):
    def asked(*words):
        code = run(["strings", *words])
        out, err = capsys.readouterr()
        return code, out, err

    return asked


def flat(text):
    return " ".join(text.split())


@pytest.mark.parametrize("name", ANSWERED)
def test_every_question_is_answered_in_both_systems_and_as_json(ask, name):
    words = ANSWERED[name]
    for units, other in (("mm", " lb"), ("inch", " N ")):
        code, out, err = ask(*words, "--units", units)
        assert (code, err) == (0, "")
        assert all(len(line) <= WIDTH for line in out.splitlines())
        assert other not in out
        assert "nan" not in out.casefold().split()
    code, out, _ = ask(*words, "--json")
    document = json.loads(out)
    assert (code, document["version"]) == (0, 1)
    assert document["document"] == ("feel" if "--feel" in words else "strings")
    assert document[document["document"]]


@pytest.mark.parametrize("name", REFUSED)
def test_nonsense_gives_one_sentence_and_code_2(ask, name):
    words, why = REFUSED[name]
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert err.startswith("setwright: ")
    assert err.count("\n") == 1
    assert why in err
    code, out, err = ask(*words, "--json")
    assert (code, err) == (2, "")
    assert why in json.loads(out)["error"]["message"]


def test_the_plain_sheet_is_untouched(ask):
    _, out, _ = ask(TENS, "--tuning", "standard", *AT)
    assert "\n- " not in out
    assert out.splitlines()[0] == "Strings at 25.5 in"


def test_a_fan_and_a_reference_are_told(ask):
    _, out, _ = ask(*ANSWERED["eight, fanned"])
    assert out.startswith("Strings at 25.5 in to 27 in\n")
    assert "Notes are named by A4 = 442 Hz." in out
    assert "Sounding lengths from string 1: 25.500, 25.714," in flat(out)
    assert " E4 " in out
    assert "F#1" in out


def test_a_capo_shows_what_sounds(ask):
    _, out, _ = ask(TENS, *AT, "--capo", "2")
    assert out.startswith("Strings at 25.5 in, capo at fret 2\n")
    assert "F#4" in out
    assert "16.10 ± 0.07 lb" in out


def test_flags_in_words(ask):
    out = flat(ask(*ANSWERED["slack and touchy"])[1])
    assert "String 1 (.010) is too slack: it pulls 7.2 lb, usual sets at least 8.1 lb" in out
    assert "String 3 (.017) goes 24 c sharp when its path grows by 0.02 mm" in out
    assert "a wound one answers less." in out
    assert "a longer scale helps." in out
    out = flat(ask(*ANSWERED["slots"])[1])
    assert "String 1 (.010) is .010 in thick and its slot .009 in wide: it will bind;" in out
    out = flat(ask(*ANSWERED["against another"])[1])
    assert "Strings 3 (.020w for .017) and 6 (.052w for .046w) are .003 in to .006 in thicker" in out
    assert "String 3 was plain (.017) and is now wound (.020w): octave and nut want setting." in out
    out = flat(ask(*ANSWERED["against a lower one"])[1])
    assert "more than the set that was on: neck and bridge will move" in out
    out = ask(*ANSWERED["against another instrument"])[1]
    assert " more than the other set.\n" in out
    assert "slot" not in out
    assert "All together pull as the other set, " in ask(*ANSWERED["as on a shorter scale"])[1]
    assert "All together pull as the set that was on, " in ask(*ANSWERED["against itself"])[1]
    out = flat(ask(".010 .013 .017 .026w .036w .049w", "--scale", "648 mm", "--was", TENS)[1])
    assert "String 6 (.049w) is 0.08 mm thicker than the .046w that was on" in out
    assert "carries 8" in flat(ask(*ANSWERED["breaking"])[1])
    out = flat(ask(".010 .013 .017 .026 .036w .046w", *AT, "--was", TENS, "--was-tuning", "standard +2")[1])
    assert "String 4 was wound (.026w) and is now plain (.026)" in out
    assert "less than the set that was on" in out


def test_several_thicker_by_the_same(ask):
    out = flat(ask(".013 .016 .017 .026w .036w .046w", *AT, "--was", TENS)[1])
    assert "Strings 1 (.013 for .010) and 2 (.016 for .013) are .003 in thicker: the nut slots may bind" in out


def test_the_set_for_a_feel(ask):
    _, out, _ = ask(*ANSWERED["same"])
    assert out.startswith("As the set that was on: strings at 25.5 in\n")
    assert "The set: .011 .015 .019 .030w .040w .052w\n" in out
    assert "String 3: wound .021w fits as well" in out
    _, out, _ = ask(*ANSWERED["equal"])
    assert out.startswith("Equal on all strings: strings at 25.5 in\n")
    assert "The set: .010 .0135 .017 .024w .032w .044w\n" in out
    assert "  was  " not in out
    document = json.loads(ask(*ANSWERED["equal"], "--json")[1])["feel"]
    assert [one["take"]["gauge"] for one in document["choices"]][:2] == [".010", ".0135"]
    assert document["choices"][0]["lighter"]["gauge"] == ".0095"
    out = flat(ask(*ANSWERED["same, far off"])[1])
    assert "no usual gauge is within 10 %" in out
    assert "its slot .050 in wide" in flat(ask(*ANSWERED["same, slots"])[1])
    _, out, _ = ask(*ANSWERED["equal, bass"])
    assert ".045w" in out


def test_a_weighed_string_narrows_its_band(ask):
    lines = json.loads(ask(*ANSWERED["own masses"], "--json")[1])["strings"][0]["lines"]
    assert lines[3]["unit_mass"] == {"value": pytest.approx(2.31e-3), "sd": pytest.approx(0.02e-3)}
    assert lines[0]["unit_mass"]["value"] == pytest.approx(0.3952e-3, rel=3e-4)


def test_a_fanned_job_names_every_sounding_length(ask):
    code, out, _ = ask(str(Path(__file__).parents[2] / "examples" / "sanderling-lower.job.toml"))
    assert code == 0
    assert "Sounding lengths from string 1: 649" in out
    _, plain, _ = ask(str(Path(__file__).parents[2] / "examples" / "kestrel-float.job.toml"))
    assert "Sounding lengths" not in plain
