"""setwright shop, as the bench types it."""

import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from setwright.bench import shop as bench
from setwright.records import supplies
from setwright.records.edits import get
from setwright.records.rows import Visit
from setwright.records.schema import newest
from setwright.records.shop import open_shop

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
HEARD = 'read pitch string 3 = 196.02 Hz, recorded "{}" sha256 {}'


@pytest.fixture(autouse=True)
def _no_shop_from_outside(monkeypatch):
    monkeypatch.delenv("SETWRIGHT_SHOP", raising=False)


@pytest.fixture
def job(tmp_path):
    for name in ("dunlin-heavier.job.toml", "dunlin.instrument.toml"):
        shutil.copy(EXAMPLES / name, tmp_path)
    return tmp_path / "dunlin-heavier.job.toml"


@pytest.fixture
def shop(ask, tmp_path):
    code, _, err = ask("shop", "new", tmp_path / "weir", "--name", "Weir Lane Bench")
    assert (code, err) == (0, "")
    return tmp_path / "weir"


def as_data(answer):
    code, out, err = answer
    assert (code, err) == (0, "")
    return json.loads(out)


def test_a_shop_is_made_and_says_how_it_is_named(ask, tmp_path):
    code, out, _ = ask("shop", "new", tmp_path / "weir")
    assert code == 0
    assert out.splitlines() == [
        f"weir is made: {tmp_path}/weir",
        f"Name it with --shop {tmp_path}/weir, or once: export SETWRIGHT_SHOP={tmp_path}/weir",
    ]
    code, _, err = ask("shop", "new", tmp_path / "weir")
    assert code == 2
    assert "not empty" in err
    made = as_data(ask("shop", "new", tmp_path / "tarn", "--json"))["shop"]
    assert (made["name"], made["where"]) == ("tarn", str(tmp_path / "tarn"))


def test_every_command_without_a_shop_says_how_to_name_one(ask, tmp_path):
    for words in (("check",), ("instruments",), ("visit", "abcd"), ("upgrade",), ("backup", tmp_path / "b.tar")):
        code, out, err = ask("shop", *words)
        assert (code, out) == (2, "")
        assert "--shop FOLDER or set SETWRIGHT_SHOP" in err
    assert ask("shop", "upgrade", "--shop", tmp_path)[0] == 2
    assert json.loads(ask("shop", "check", "--json")[1])["error"]["kind"] == "input"


def test_a_job_goes_in_and_is_found_and_shown(ask, shop, job, monkeypatch):
    monkeypatch.setenv("SETWRIGHT_SHOP", str(shop))
    ask("log", job, "read", "rear", "gap", "=", "2.6", "mm")
    ask("log", job, "strike", "1", "wrong", "side")
    code, out, _ = ask("shop", "add-job", job, "--owner", "Ada Lark", "--by", "Bo")
    assert code == 0
    assert out.startswith("Visit 1 of Dunlin, which is new here: 2 entries kept.\n")
    visit, instrument = (line.split()[1] for line in out.splitlines()[1:])
    again = as_data(ask("shop", "add-job", job, "--json"))["shop job"]
    assert (again["known"], again["instrument"], again["visit"]["number"]) == (True, instrument, 2)
    code, out, _ = ask("shop", "instruments", "--find", "ada dunlin")
    assert out.splitlines()[1].split() == ["Dunlin", "Ada", "Lark", "2", out.split()[-2], instrument[-8:]]
    assert ask("shop", "instruments", "--find", "wren")[1] == "There is no instrument with 'wren'.\n"
    code, out, _ = ask("shop", "visit", visit[-8:])
    assert code == 0
    assert "Visit 1 of Dunlin, open" in out
    assert "owner        Ada Lark" in out
    assert "(struck by #2)" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    shown = as_data(ask("shop", "visit", visit, "--json"))["shop visit"]
    assert shown["owner"]["name"] == "Ada Lark"
    assert [one["struck_by"] for one in shown["entries"]] == [2, None]
    assert "tail" not in shown["visit"]
    listed = as_data(ask("shop", "instruments", "--json"))["shop instruments"]["instruments"]
    assert [one["visits"] for one in listed] == [2]


def test_the_journal_comes_out_as_it_went_in(ask, shop, job, tmp_path):
    journal = tmp_path / "dunlin-heavier.journal.txt"
    journal.write_bytes(b"# by hand\r\n2026-11-25 14:31  #4  note  tuned down\r\n2026-11-25 14:3")
    visit = as_data(ask("shop", "add-job", job, "--shop", shop, "--json"))["shop job"]["visit"]["id"]
    code, out, _ = ask("shop", "visit", visit, "--shop", shop, "--journal", tmp_path / "back.txt")
    assert code == 0
    assert "back.txt,66bytes" in "".join(out.split())
    assert (tmp_path / "back.txt").read_bytes() == journal.read_bytes()
    code, _, err = ask("shop", "visit", visit, "--shop", shop, "--journal", tmp_path / "back.txt")
    assert code == 2
    assert "is there already" in err
    assert ask("shop", "visit", visit, "--shop", shop, "--journal", tmp_path / "none" / "x.txt")[0] == 2


def test_recordings_of_readings_come_along(ask, shop, job, tmp_path):
    wave, odd, other = b"RIFF0000WAVE" + bytes(100), b"odd sound" * 9, b"not the one"
    for name, raw in (("a.wav", wave), ("b.au", odd), ("c.wav", other)):
        (tmp_path / name).write_bytes(raw)
    for name, raw in (("a.wav", wave), ("a.wav", wave), ("b.au", odd), ("c.wav", b"gone"), ("d.wav", b"never")):
        words = HEARD.format(name, hashlib.sha256(raw).hexdigest()).split()
        assert ask("log", job, *words)[0] == 0
    found = as_data(ask("shop", "add-job", job, "--shop", shop, "--json"))["shop job"]
    assert found["recordings"] == [hashlib.sha256(raw).hexdigest() for raw in (wave, odd)]
    with open_shop(shop) as opened, opened.reading() as work:
        visit = get(work, Visit, found["visit"]["id"])
        kept = [(one.kind, one.name) for one in supplies.attachments(work, visit=visit.id)]
    assert kept == [("recording", "a.wav"), ("other", "b.au")]
    assert "2 recordings that readings were heard in" in " ".join(ask("shop", "check", "--shop", shop)[1].split())


def test_bad_jobs_leave_nothing(ask, shop, job, tmp_path):
    journal = tmp_path / "dunlin-heavier.journal.txt"
    for raw in (b"nonsense\n", b"2026-11-25 14:31  #1  read  pitch string 9 = 196 Hz\n", b"x" * 5_000_001):
        journal.write_bytes(raw)
        code, out, err = ask("shop", "add-job", job, "--shop", shop)
        assert (code, out) == (2, "")
        assert "dunlin-heavier.journal.txt" in err
    journal.unlink()
    journal.mkdir()
    assert ask("shop", "add-job", job, "--shop", shop)[0] == 2
    assert ask("shop", "add-job", tmp_path / "none.job.toml", "--shop", shop)[0] == 2
    assert ask("shop", "add-job", job, "--shop", shop, "--instrument", "abcdef")[0] == 2
    assert ask("shop", "instruments", "--shop", shop)[1] == "There is no instrument in this shop yet.\n"


def test_check_backup_and_upgrade_say_what_they_did(ask, shop, job, tmp_path):
    ask("shop", "add-job", job, "--shop", shop)
    code, out, _ = ask("shop", "check", "--shop", shop)
    assert (code, out) == (0, "Looked at 1 instrument, 1 visit, 0 entries, 0 files.\nAll is whole.\n")
    code, out, _ = ask("shop", "backup", tmp_path / "b.tar", "--shop", shop)
    assert code == 0
    assert out == f"{tmp_path}/b.tar: {(tmp_path / 'b.tar').stat().st_size} bytes, the database and 0 files.\n"
    assert as_data(ask("shop", "backup", tmp_path / "c.tar", "--shop", shop, "--json"))["shop backup"]["contents"] == 0
    assert ask("shop", "backup", "", "--shop", shop)[0] == 2
    code, out, _ = ask("shop", "upgrade", "--shop", shop)
    assert (code, out) == (0, f"Nothing is to be done: the tables are those of schema {newest()}.\n")
    with open_shop(shop) as opened, opened.writing() as work:
        work.connection.exec_driver_sql("UPDATE document SET text = 'x'")
    code, out, _ = ask("shop", "check", "--shop", shop)
    assert code == 2
    assert "Not whole: bring back what is damaged from the last backup." in out
    assert json.loads(ask("shop", "check", "--shop", shop, "--json")[1])["shop check"]["problems"]


def test_an_upgrade_tells_where_the_copy_is(ask, tmp_path, monkeypatch):
    from setwright.records.schema import Upgraded

    done = Upgraded("0001", "0002", tmp_path / "copy.sqlite")
    monkeypatch.setattr(bench, "upgrade_shop", lambda at, made: done)
    code, out, _ = ask("shop", "upgrade", "--shop", tmp_path)
    assert out.splitlines() == [
        "The tables were those of schema 0001 and are now those of 0002.", f"As it was before: {tmp_path}/copy.sqlite",
    ]  # fmt: skip
    assert as_data(ask("shop", "upgrade", "--json"))["shop upgrade"]["backup"] == f"{tmp_path}/copy.sqlite"
    monkeypatch.setattr(bench, "upgrade_shop", lambda at, made: Upgraded("0001", "0002", None))
    assert len(ask("shop", "upgrade", "--backup-made")[1].splitlines()) == 1
    assert code == 0


def test_a_full_visit_shows_everything(ask, shop):
    from tests.records.make_released import fill

    with open_shop(shop) as opened:
        fill(opened)
        with opened.writing() as work:
            (visit,) = work.connection.exec_driver_sql("SELECT id FROM visit").scalars()
            with (EXAMPLES / "dunlin.instrument.toml").open("rb") as handle:
                supplies.attach(work, "other", "a long name " * 10, handle, visit=visit)
    code, out, _ = ask("shop", "visit", visit, "--shop", shop)
    assert code == 0
    for words in ("PARTS", "1 piece", "FILES", "CLIMATE", "21.0 C  45 %", "SHEETS", "STEPS", "1  done"):
        assert words in out
    shown = as_data(ask("shop", "visit", visit, "--shop", shop, "--json"))["shop visit"]
    assert shown["parts"] == [{"name": "strip shim .020 in", "unit": "piece", "used": 1}]


@pytest.mark.slow
def test_the_database_is_loaded_only_for_a_shop(job):
    code = (
        "import sys; from setwright.cli.main import run; "
        "assert run(sys.argv[1:]) == 0; "
        "print([one for one in ('sqlalchemy', 'alembic', 'psycopg') if one in sys.modules])"
    )
    env = {name: value for name, value in os.environ.items() if name != "SETWRIGHT_SHOP"}
    for words in (["--help"], ["next", str(job)], ["log", str(job)], ["shop", "--help"]):
        done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=True, env=env)
        assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.slow
def test_a_visit_stands_in_for_a_job_file(ask, shop, job, tmp_path, monkeypatch):
    words = ("read rear gap = 2.4 mm", "read pitch string 1 = 261.0 Hz", "did strings changed", "strike 1 no")
    added = as_data(ask("shop", "add-job", job, "--shop", shop, "--json"))
    visit = added["shop job"]["visit"]["id"]
    monkeypatch.setenv("SETWRIGHT_SHOP", str(shop))
    assert "goes into visit" in ask("log", "--visit", visit)[1]
    for one in words:
        with_file = as_data(ask("log", job, *one.split(), "--json"))["entry"]["entry"]
        with_shop = as_data(ask("log", "--visit", visit[-8:], *one.split(), "--json"))["entry"]["entry"]
        for answer in (with_file, with_shop):
            del answer["when"], answer["line"]
        assert with_shop == with_file
    assert [line[23:] for line in ask("log", "--visit", visit)[1].splitlines()] == [
        line[23:] for line in ask("log", job)[1].splitlines()
    ]
    for command in ("next", "plan"):
        with_file, with_shop = ask(command, job, "--json"), ask(command, "--visit", visit, "--json")
        assert with_shop == with_file
        assert with_file[0] == 0
    refused = [ask("learned", *which)[1:] for which in ((job,), ("--visit", visit))]
    assert refused[0][1].replace(str(job), f"visit {visit}") == refused[1][1]


def test_a_visit_and_a_job_file_are_not_named_together(ask, shop, job):
    for command in ("next", "plan", "learned"):
        for words in ((), (job, "--visit", "abcd", "--shop", shop)):
            code, _, err = ask(command, *words)
            assert code == 2
            assert "--visit ID" in err
    assert ask("log")[0] == 2
    visit = as_data(ask("shop", "add-job", job, "--shop", shop, "--json"))["shop job"]["visit"]["id"]
    both = ("--visit", visit, "--shop", shop, "--journal", "x.journal.txt")
    for words in (("log", "note", "x"), ("log",), ("next",)):
        code, _, err = ask(*words, *both)
        assert code == 2
        assert "a visit has its own in the shop" in err
    code, _, err = ask("log", "--visit", visit, "--shop", shop, "read", "pitch", "string", "9", "=", "196", "Hz")
    assert code == 2
    assert "string 9 does not exist" in err
