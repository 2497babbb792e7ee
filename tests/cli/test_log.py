"""setwright log: the same words as in the file."""

import json
import re
import shlex
import shutil
from datetime import datetime
from pathlib import Path

import pytest

from setwright.bench.journals import journal_path, keep
from setwright.errors import InputError
from setwright.records.forms import FORMS
from setwright.records.journal import from_bytes
from setwright.records.journal_text import line_of, parse

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture
def job(tmp_path):
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    return tmp_path / "kestrel-float.job.toml"


PAGE = (Path(__file__).parents[2] / "docs" / "file-formats.md").read_text(encoding="utf-8")


def test_the_journal_of_the_docs_can_be_read():
    block = re.search(r"```journal\n(.*?)```", PAGE, re.DOTALL)[1]
    found = from_bytes(
        b"".join(f"2026-11-25 14:00  #{n}  note  x\n".encode() for n in range(1, 12)) + block.encode(), "j"
    )
    assert [one.struck_by for one in found.entries if one.number == 15] == [17]
    assert "".join(f"{line_of(one)}\n" for one in found.entries[11:]) == block


def test_the_docs_show_every_form_and_every_example_there_is_understood():
    shown = [words.split(maxsplit=1) for words in re.findall(r"`((?:read|did) [^`.]*(?:\.\d[^`]*)?)`", PAGE)]
    named = {(entry.verb, entry.what) for entry in (parse(*words, datetime(2026, 11, 25)) for words in shown)}
    assert named == {(verb, what) for verb, forms in FORMS.items() for what in forms}


def test_the_commands_of_the_docs_run(ask, job, monkeypatch):
    monkeypatch.chdir(job.parent)
    for n in range(15):
        ask("log", job, "note", n)
    lines = re.findall(r"^setwright (log .+)$", PAGE, re.MULTILINE)
    assert len(lines) == 3
    for line in lines:
        assert ask(*shlex.split(line))[0] == 0, line


def journal_of(job):
    return job.with_name("kestrel-float.journal.txt")


def test_an_empty_journal(ask, job):
    code, out, _ = ask("log", job)
    assert code == 0
    assert out.startswith("Nothing is written yet; the first entry makes ")
    assert not journal_of(job).exists()


def test_words_go_into_the_file_and_are_printed(ask, job):
    code, out, _ = ask("log", job, "read", "pitch", "string", "3", "=", "196.02", "Hz", "±", "0.3", "c", "--by", "Ada")
    assert code == 0
    assert out.endswith("  #1 by Ada  read  pitch string 3 = 196.02 Hz ± 0.3 c\n")
    assert journal_of(job).read_text(encoding="utf-8") == out
    assert ask("log", job, "did tune string 3 to -4 c, heard -3 c")[0] == 0
    assert ask("log", job, "read", "pitch", "string", "3", "=", "-4", "c")[0] == 0


def test_the_whole_journal_with_struck_lines_marked(ask, job):
    ask("log", job, "did", "claw", "in", "1 3/8", "turns")
    ask("log", job, "strike", "1", "treble only")
    with journal_of(job).open("a", encoding="utf-8") as file:
        file.write("2026-11-25 14:3")
    code, out, _ = ask("log", job)
    lines = out.splitlines()
    assert code == 0
    assert lines[0].startswith("- ")
    assert lines[0].endswith("#1  did   claw in 1 3/8 turns  (struck by #2)")
    assert lines[1].endswith("#2  strike #1: treble only")
    assert lines[2] == "- 2026-11-25 14:3  (torn, does not count)"
    assert "line 3: the last line has no line end" in lines[3]
    _, out, _ = ask("log", job, "note", "on we go")
    assert "is set aside: 2026-11-25 14:3" in out


def test_json(ask, job):
    code, out, _ = ask("log", job, "read", "rear gap = 2.6 mm with calliper, at pitch", "--json")
    assert code == 0
    given = json.loads(out)
    assert (given["document"], given["version"]) == ("entry", 1)
    entry = given["entry"]["entry"]
    assert (entry["what"], entry["gauge"], entry["value"]["si"], entry["state"]["at_pitch"]) == (
        "rear gap",
        "calliper",
        pytest.approx(0.0026),
        True,
    )
    _, out, _ = ask("log", job, "--json")
    whole = json.loads(out)
    assert whole["document"] == "journal"
    assert whole["journal"]["entries"] == [entry]
    assert datetime.fromisoformat(entry["when"]).tzinfo is None


REFUSED = [
    (["read", "rear gpa = 2 mm"], "did you mean 'rear gap'"),
    (["read", "string height string 1 at fret 12 = 16 mm"], "word sure"),
    (["read", "pitch string 9 = E4"], "string 9 does not exist; Kestrel has 6"),
    (["read", "string height string 1 at fret 30 = 2 mm"], "fret 30 does not exist"),
    (["read", "relief held at 1 and 30, read at 8 = .010 in"], "fret 30 does not exist"),
    (["strike", "7", "why"], "no entry #7"),
    ([""], "nothing is to be kept"),
    (["note"], "nothing is written"),
    (["--sure"], "go with an entry"),
    (["note", "x", "--journal", ""], "no name of a journal"),
]


@pytest.mark.parametrize(("words", "part"), REFUSED)
def test_refusals_write_nothing(ask, job, words, part):
    code, out, err = ask("log", job, *words)
    assert (code, out) == (2, "")
    assert part in err
    assert not journal_of(job).exists()


def test_sure_stays_with_the_entry(ask, job):
    words = ["read", "string height string 1 at fret 12 = 16 mm", "--sure"]
    assert ask("log", job, *words)[1].endswith("= 16 mm sure\n")
    assert ask("log", job)[0] == 0


def test_what_is_struck_is_not_struck_again_and_strikes_stay(ask, job):
    ask("log", job, "note", "a")
    ask("log", job, "strike", "1", "slip")
    assert "struck already, by #2" in ask("log", job, "strike", "1", "slip")[2]
    assert "#2 strikes another entry" in ask("log", job, "strike", "2", "slip")[2]


def test_a_journal_elsewhere(ask, job, tmp_path):
    other = tmp_path / "other.txt"
    assert ask("log", job, "note", "a", "--journal", other)[0] == 0
    assert other.exists()
    assert not journal_of(job).exists()
    assert (
        "does not exist" in ask("log", tmp_path / "none.job.toml", "note", "a")[2] or not (tmp_path / "none").exists()
    )


def test_lines_typed_by_hand_are_held_against_the_instrument(ask, job):
    journal_of(job).write_text("2026-11-25 14:31  #1  read  pitch string 8 = E2\n", encoding="utf-8")
    code, _, err = ask("log", job)
    assert code == 2
    assert "kestrel-float.journal.txt, line 1: string 8 does not exist" in err


@pytest.mark.parametrize(
    ("job", "journal"),
    [
        ("a/dunlin.job.toml", "a/dunlin.journal.txt"),
        ("dunlin.toml", "dunlin.journal.txt"),
        ("dunlin", "dunlin.journal.txt"),
        (".job.toml", ".job.journal.txt"),
    ],
)
def test_where_the_journal_is(job, journal):
    assert journal_path(job) == Path(journal)


def test_the_job_is_no_journal(job):
    with pytest.raises(InputError, match="no name of a journal"):
        journal_path(str(job), str(job))
    with pytest.raises(InputError, match="nothing is to be kept"):
        keep(str(job), ())


def test_the_time_can_be_given(job):
    kept = keep(str(job), ("note", "a"), when=datetime(2026, 11, 25, 14, 31, 7))
    assert kept.entry.when == datetime(2026, 11, 25, 14, 31, 7)
