"""setwright shop: visits edited and handed back, and the life of an instrument."""

import shutil
from pathlib import Path

import pytest

from setwright.bench import life, visits
from setwright.cli.layout import WIDTH
from setwright.errors import FileFormatError, InputError, StaleEditError
from setwright.records.jobs import JobFiles
from setwright.records.shop import open_shop
from setwright.records.supplies import plan_step

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.fixture
def finished(data, weir):
    """The visit of the finished example, in a shop."""
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml", "kestrel-finished.journal.txt"):
        shutil.copy(EXAMPLES / name, weir.parent)
    words = ("--journal", "kestrel-finished.journal.txt", "--owner", "Ada Lark")
    return data("shop", "add-job", "kestrel-float.job.toml", *words)


@pytest.mark.slow
def test_what_a_visit_learned_is_said_and_goes_into_the_next(ask, data, finished):
    code, out, _ = ask("shop", "hand-back", finished["visit"]["id"])
    assert code == 0
    assert "kept; the next visit begins with it" in out
    again = data("shop", "add-job", "kestrel-float.job.toml", "--instrument", finished["instrument"])
    code, out, err = ask("plan", "--visit", again["visit"]["id"])
    assert (code, err) == (0, "")
    assert "this begins with what an earlier visit learned" in " ".join(out.split())


def test_a_visit_is_handed_back_and_opened_again(ask, data, kestrel):
    code, out, _ = ask("shop", "hand-back", kestrel[-8:], "--recheck", "2099-02-25", "--based-on", "1", "--by", "Bo")
    assert (code, out) == (0, "Visit 1 is handed back; its version is now 2.\n")
    shown = data("shop", "visit", kestrel)
    assert (shown["visit"]["state"], shown["entries"][0]["text"]) == ("closed", "recheck: 2099-02-25")
    assert shown["entries"][0]["who"] == "Bo"
    code, _, err = ask("log", "--visit", kestrel, "note", "late")
    assert code == 2
    assert "is closed" in err
    code, _, err = ask("shop", "hand-back", kestrel)
    assert code == 2
    assert "is closed already" in err
    assert data("shop", "open-again", kestrel)["visit"]["handed_back"] is None
    code, _, err = ask("shop", "open-again", kestrel)
    assert code == 2
    assert "visit 1 is open" in err
    for day, said in (("2099", "is no day"), ("1999-01-01", "is before the instrument came")):
        code, _, err = ask("shop", "hand-back", kestrel, "--recheck", day)
        assert code == 2
        assert said in " ".join(err.split())
    assert len(data("shop", "visit", kestrel)["entries"]) == 1
    code, _, err = ask("shop", "hand-back", kestrel, "--recheck", "2099-02-25", "--based-on", "1")
    assert code == 2
    assert "was changed" in err
    assert len(data("shop", "visit", kestrel)["entries"]) == 1


def test_wish_kind_and_specification_of_a_visit(ask, data, kestrel, tmp_path):
    (tmp_path / "h.txt").write_text("rear gap = 2.6 mm ± 0.25 mm\n")
    house = data("shop", "specify", "house", "h.txt")["specification"]["id"]
    words = ("--wish", "Lower,\nplease.", "--kind", "floating", "--specification", "house", "--based-on", "1")
    kept = data("shop", "edit-visit", kestrel, *words)["visit"]
    assert (kept["wish"], kept["kind"], kept["specification"]) == ("Lower,\nplease.", "floating", house)
    shown = ask("shop", "visit", kestrel)[1]
    assert f"holds to     specification {house[-8:]}\nversion      2\n" in shown
    assert "Lower, please." in ask("plan", "--visit", kestrel, "--samples", "32")[1]
    assert data("shop", "edit-visit", kestrel, "--specification", "")["visit"]["specification"] is None
    assert ask("shop", "edit-visit", kestrel, "--specification", "nothing")[0] == 2
    assert ask("shop", "edit-visit", kestrel, "--wish", "x", "--job", "y")[0] == 2


def test_the_way_to_pitch_of_a_visit(ask, data, kestrel):
    kept = data("shop", "edit-visit", kestrel, "--fewest", "minutes")["visit"]
    assert kept["version"] == 2
    code, _, err = ask("shop", "edit-visit", kestrel, "--fewest", "minutes", "--wish", "x")
    assert code == 2
    assert "--fewest changes the job file; change the others in a call of their own." in " ".join(err.split())


def test_another_job_file_of_a_visit(ask, data, kestrel, tmp_path, weir):
    ask("log", "--visit", kestrel, "read", "rear", "gap", "=", "2.6", "mm")
    text = (EXAMPLES / "kestrel-float.job.toml").read_text()
    (tmp_path / "second.job.toml").write_text(text.replace("Wants the arm", "Would like the arm"))
    kept = data("shop", "edit-visit", kestrel, "--job", "second.job.toml", "--based-on", "1")["visit"]
    assert kept["wish"].startswith("Would like the arm")
    assert kept["job_name"] == "second.job.toml"
    (tmp_path / "bad.job.toml").write_text(text.replace('bridge = "decked"', 'bridge = "hovering"'))
    for name in ("bad.job.toml", "none.job.toml"):
        assert ask("shop", "edit-visit", kestrel, "--job", name)[0] == 2
    assert data("shop", "visit", kestrel)["visit"] == kept
    with pytest.raises(StaleEditError):
        visits.change_job(str(weir), kestrel, text.encode(), version=1)
    assert data("shop", "check")["problems"] == []


def test_how_it_was_left_is_where_the_next_visit_begins(data, finished, weir):
    """By hand from the journal: .010 set on, 3 springs, floated; nothing read is carried over."""
    stood = visits.as_left(str(weir), finished["instrument"])
    assert stood == visits.Stood(
        finished["visit"]["id"], (".010", ".013", ".017", ".026w", ".036w", ".046w"), "standard", "floating", 3
    )
    assert [one.id for one in visits.visits_of(str(weir), finished["instrument"])] == [finished["visit"]["id"]]


def test_how_it_was_left_before_anything_was_done(ask, data, kestrel, weir):
    home = data("shop", "visit", kestrel)["instrument"]["id"]
    found = visits.as_left(str(weir), home)
    assert (found.bridge, found.springs) == ("decked", 3)
    ask("log", "--visit", kestrel, "did", "springs", "4")
    assert visits.as_left(str(weir), home).springs == 4
    other = data("shop", "add-instrument", "kestrel.instrument.toml")["instrument"]["id"]
    assert visits.as_left(str(weir), other) is None


def test_notes_of_a_tuning_are_kept_apart(data, weir, tmp_path):
    shutil.copy(EXAMPLES / "kestrel.instrument.toml", tmp_path)
    text = (EXAMPLES / "kestrel-float.job.toml").read_text()
    text = text.replace('tuning = "standard"', 'tuning = ["Eb4", "Bb3", "Gb3", "Db3", "Ab2", "Eb2"]')
    files = JobFiles(
        "low.job.toml", text.encode(), "kestrel.instrument.toml",
        (EXAMPLES / "kestrel.instrument.toml").read_bytes(), "low.journal.txt",
    )  # fmt: skip
    added = visits.take_in_files(str(weir), files, "Ada Lark", kind="low", who="Bo")
    assert (added.visit.kind, added.known) == ("low", False)
    assert visits.as_left(str(weir), added.instrument.id).tuning == "Eb4 Bb3 Gb3 Db3 Ab2 Eb2"
    with pytest.raises(InputError):
        visits.take_in_files(str(weir), JobFiles("a", b"", "b", b"", "c"), instrument=added.instrument.id)


def test_the_life_of_an_instrument(ask, data, finished, weir, tmp_path):
    home, visit = finished["instrument"], finished["visit"]["id"]
    (tmp_path / "letter.txt").write_bytes(b"from the owner")
    for words in (
        ("add-part", "strip shim .030 in"), ("stock", "came", "strip shim .030 in", "3"),
        ("stock", "used", "strip shim .030 in", "1", "--visit", visit), ("climate", "21 C", "--visit", visit),
        ("attach", "letter.txt", "--kind", "other", "--instrument", home),
        ("attach", "letter.txt", "--kind", "other", "--visit", visit), ("hand-back", visit),
    ):  # fmt: skip
        assert ask("shop", *words)[0] == 0
    second = data("shop", "add-job", "kestrel-float.job.toml", "--instrument", home)["visit"]["id"]
    with open_shop(weir) as opened, opened.writing() as work:
        plan_step(work, second, {"do": "claw"})
    told = data("shop", "instrument", home[-8:])
    assert [one["visit"]["id"] for one in told["visits"]] == [second, visit]
    first = told["visits"][1]
    gap = next(one for one in first["readings"] if one["key"]["what"] == "rear gap")
    assert (gap["found"]["value"], gap["wanted"]["value"], gap["left"]["value"]) == (0.0, 0.0026, 0.00265)
    assert gap["verdict"] == "inside"
    assert (first["who"], first["entries"]) == (["Ada", "Ben Hale"], 76)
    assert first["parts"] == [{"name": "strip shim .030 in", "unit": "piece", "used": 1}]
    assert [one["name"] for one in first["attachments"]] == ["letter.txt"]
    assert (told["recheck"], told["owner"]["name"], told["left_off"]) == ("2027-02-25", "Ada Lark", 0)
    assert told["open_work"] == [
        "Visit 2 is open: Wants the arm to go up as well as down, and the strings lower than they are now.",
        "Planned: step 1", "Recommended: a new nut; the slot of the third string is worn",
        "Not done: frets levelled, by wish of the owner",
    ]  # fmt: skip
    for units in ("mm", "inch"):
        code, out, err = ask("shop", "instrument", home, "--units", units)
        assert (code, err) == (0, "")
        assert max(map(len, out.splitlines())) <= WIDTH
        assert ("2.65" in out or "2.6 ± 0.1 mm" in out) == (units == "mm")
        for words in (
            "VISIT 2, ",
            ", OPEN",
            "VISIT 1, 2026-11-24 TO ",
            "OPEN WORK",
            "FILES",
            "look again   2027-02-25",
        ):
            assert words in out
    assert "1 older visits are left off" in ask("shop", "instrument", home, "--most", "1")[1]
    assert life.life_of(str(weir), home, most=0).left_off == 2
    assert data("shop", "check")["problems"] == []


def test_what_journals_tell_is_kept_until_they_are_written_on(ask, finished, weir, monkeypatch):
    home, visit = finished["instrument"], finished["visit"]["id"]
    kept, made = {}, []

    def keeping(key, make):
        if key not in kept:
            made.append(key)
            kept[key] = make()
        return kept[key]

    anew = life.life_of(str(weir), home)
    assert life.life_of(str(weir), home, keeping=keeping) == anew
    assert len(made) == 1
    with monkeypatch.context() as blind:
        blind.setattr(life, "files_of", None)
        assert life.life_of(str(weir), home, keeping=keeping) == anew
    assert life.life_of(str(weir), home, "inch", keeping=keeping) == life.life_of(str(weir), home, "inch")
    assert len(made) == 2
    assert ask("log", "--visit", visit, "read", "rear gap = 2.7 mm")[0] == 0
    after = life.life_of(str(weir), home, keeping=keeping)
    assert after == life.life_of(str(weir), home) != anew
    assert len(made) == 3


def test_one_visit_that_cannot_be_read_hides_no_other(data, finished, weir, monkeypatch):
    def refused(work, visit):
        raise FileFormatError("the file is of another time.")

    monkeypatch.setattr(life, "files_of", refused)
    told = life.life_of(str(weir), finished["instrument"])
    assert (told.visits[0].silent, told.visits[0].readings) == ("the file is of another time.", ())
    assert "the file is of another time" in str(data("shop", "instrument", finished["instrument"])["visits"])


def test_visits_and_instruments_that_are_not_there(ask, weir):
    for words in (("instrument", "abcdefgh"), ("hand-back", "abcdefgh"), ("edit-visit", "ab"), ("owner", "abcdefgh")):
        code, out, err = ask("shop", *words)
        assert (code, out) == (2, "")
        assert "abcdefgh" in err or "names no visit" in err
