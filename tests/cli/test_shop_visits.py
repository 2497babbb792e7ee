"""A visit in place of a job file: every command answers the same, and what is handed over or heard stays in the shop.

Expected answers are those of the same command on the files.
"""

import hashlib
import io
import shutil
from datetime import datetime
from pathlib import Path

import pytest
from pypdf import PdfReader

from setwright.bench import attachments, handed, hearing, paper
from setwright.bench.journals import InShop
from setwright.errors import InputError
from setwright.records.journal_text import parse
from tests.cli.made_takes import recorded, string

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SAME = [
    ("notes", "--samples", "32"), ("heights", "--samples", "32"), ("clearance", "--samples", "32"),
    ("predict", "--claw", "+1/4", "--samples", "32"), ("strings",),
    pytest.param(("plan", "--samples", "32"), marks=pytest.mark.slow, id="plan"),
]  # fmt: skip


@pytest.mark.parametrize("command", SAME, ids=lambda words: words[0])
def test_a_visit_answers_as_its_files(ask, kestrel, command):
    name, *words = command
    from_file = ask(name, "kestrel-float.job.toml", *words, "--json")
    assert ask(name, *words, "--visit", kestrel[-8:], "--json") == from_file
    assert from_file[0] == 0
    for named in ((), ("kestrel-float.job.toml", "--visit", kestrel)):
        code, out, err = ask(name, *named, *words)
        assert (code, out) == (2, "")
        assert "--visit ID" in err or "no strings are named" in err


def test_a_bar_test_of_a_visit(ask, data, weir):
    for name in ("lapwing-pull.job.toml", "lapwing.instrument.toml"):
        shutil.copy(EXAMPLES / name, weir.parent)
    visit = data("shop", "add-job", "lapwing-pull.job.toml")["visit"]["id"]
    words = ("--dive", "-3 -4 -9 -5 -3 -2", "--pull", "2 3 6 4 2 1")
    from_file = ask("bar-test", "lapwing-pull.job.toml", *words)
    assert ask("bar-test", "--visit", visit, *words) == from_file


def test_no_feel_of_a_visit(ask, kestrel):
    code, _, err = ask("strings", "--feel", "same", "--visit", kestrel)
    assert code == 2
    assert "leave out --visit" in err


@pytest.fixture
def finished(data, weir):
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml", "kestrel-finished.journal.txt"):
        shutil.copy(EXAMPLES / name, weir.parent)
    words = ("--journal", "kestrel-finished.journal.txt", "--owner", "Ada Lark")
    return data("shop", "add-job", "kestrel-float.job.toml", *words)["visit"]["id"]


def test_a_sheet_that_is_handed_over_is_kept(ask, data, finished, tmp_path):
    code, out, err = ask("sheet", "--visit", finished, "--no-plan", "--save", "a.pdf")
    assert (code, out, err) == (0, "Put into a.pdf.\n", "")
    assert data("shop", "visit", finished)["sheets"] == []
    words = ("sheet", "--visit", finished, "--no-plan", "--force", "--save", "a.pdf", "--hand-over", "--by", "Bo")
    assert ask(*words)[0] == 0
    assert ask(*words)[0] == 0
    raw = (tmp_path / "a.pdf").read_bytes()
    owner = PdfReader(io.BytesIO(raw)).pages[0].extract_text()
    assert "Weir Lane Bench" in owner
    assert "Ada Lark" in owner
    shown = data("shop", "visit", finished)
    assert [one["kind"] for one in shown["sheets"]] == ["owner", "shop", "tag"] * 2
    assert {one["sha256"] for one in shown["sheets"]} == {hashlib.sha256(raw).hexdigest()}
    assert {one["who"] for one in shown["sheets"]} == {"Bo"}
    made_from = shown["sheets"][0]["data"]
    assert (made_from["owner"], made_from["recheck"], made_from["made"]) == (
        "Ada Lark", "2027-02-25", "2026-11-25T09:21:00",
    )  # fmt: skip
    (kept,) = shown["attachments"]
    assert (kept["kind"], kept["name"], kept["media_type"]) == ("sheet", "a.pdf", "application/pdf")
    found, content = attachments.attachment_in(str(tmp_path / "weir"), kept["id"])
    assert content == raw
    assert found.sha256 == kept["sha256"]
    assert data("shop", "check")["problems"] == []


def test_a_drawing_on_a_sheet_is_kept_by_its_hash(ask, data, finished, tmp_path):
    assert ask("heights", "--visit", finished, "--samples", "32", "--svg", "h.svg")[0] == 0
    words = ("--visit", finished, "--no-plan", "--drawing", "h.svg", "--kind", "shop", "--hand-over", "--save", "d.pdf")
    assert ask("sheet", *words)[0] == 0
    shown = data("shop", "visit", finished)
    (drawing,) = shown["sheets"][0]["data"]["drawings"]
    svg = (tmp_path / "h.svg").read_bytes()
    assert drawing["sha256"] == hashlib.sha256(svg).hexdigest()
    source = InShop(str(tmp_path / "weir"), finished)
    handed.hand_over(source, paper.sheet_of_job(source, plan=False), b"%PDF-1.7 another", ("tag", "tag"))
    shown = data("shop", "visit", finished)
    assert [one["name"] for one in shown["attachments"]] == ["d.pdf", "visit-1.sheet.pdf"]
    assert [one["kind"] for one in shown["sheets"]] == ["shop", "tag"]


def test_a_job_file_is_not_handed_over(ask, finished):
    for words in (("--hand-over",), ("--by", "Bo")):
        code, _, err = ask("sheet", "kestrel-float.job.toml", "--no-plan", *words)
        assert code == 2
        assert "go with --visit" in err


@pytest.fixture(scope="module")
def take(tmp_path_factory):
    return recorded(tmp_path_factory.mktemp("take") / "take one.wav", [string(110.0), string(146.8324)])


def test_what_is_heard_of_a_visit_is_kept_with_its_recording(ask, data, kestrel, take):
    raw = take.read_bytes()
    heard = data("hear", take, "--visit", kestrel, "--by", "Bo")
    assert heard["entries"] == [1, 2]
    shown = data("shop", "visit", kestrel)
    assert [(one["place"]["string"], one["who"]) for one in shown["entries"]] == [(5, "Bo"), (4, "Bo")]
    (kept,) = shown["attachments"]
    assert (kept["kind"], kept["name"]) == ("recording", "take_one.wav")
    assert kept["sha256"] == hashlib.sha256(raw).hexdigest() == shown["entries"][0]["sha256"]
    code, _, err = ask("hear", take, "--visit", kestrel)
    assert code == 2
    assert "already, first as #1" in err
    code, _, err = ask("hear", take, "--visit", kestrel, "--journal", "x.txt")
    assert code == 2
    assert "a visit has its own in the shop" in err
    check = data("shop", "check")
    assert (check["problems"], check["remarks"], check["contents"]) == ([], [], 1)


def test_two_benches_hear_one_recording_once(weir, kestrel, take):
    result = hearing.hear(str(take), [329.63, 246.94, 196.0, 146.8324, 110.0, 82.41])
    source = InShop(str(weir), kestrel)
    entries = hearing.write_down(result, source).entries
    with pytest.raises(InputError, match="was put into visit"):
        attachments.append_heard(source, entries, result.sha256)
    assert attachments.attachments_of(str(weir), visit=kestrel) == ()
    assert attachments.append_heard(source, (), result.sha256) == ()


def test_another_recording_than_was_heard_is_refused(weir, kestrel, take, tmp_path):
    result = hearing.hear(str(take), [329.63, 246.94, 196.0, 146.8324, 110.0, 82.41])
    source = InShop(str(weir), kestrel)
    (tmp_path / "other.wav").write_bytes(b"RIFF0000WAVE")
    for path, said in (("other.wav", "is another recording"), ("none.wav", "cannot be read"), ("", "no file")):
        with pytest.raises(InputError, match=said):
            hearing.write_down(result, source, recording=path)
    written = hearing.write_down(result, source, recording=str(take))
    assert [one.number for one in written.entries] == [1, 2]


def test_a_recording_of_an_odd_kind_is_kept_as_other(weir, kestrel, tmp_path):
    (tmp_path / "a.au").write_bytes(b".snd odd")
    sha256 = hashlib.sha256(b".snd odd").hexdigest()
    words = f'pitch string 3 = 196.02 Hz, recorded "a.au" sha256 {sha256}'
    entry = parse("read", words, datetime(2026, 11, 30, 9))
    source = InShop(str(weir), kestrel)
    attachments.append_heard(source, [entry], sha256, str(tmp_path / "a.au"))
    (kept,) = attachments.attachments_of(str(weir), visit=kestrel)
    assert (kept.kind, kept.name) == ("other", "a.au")


def test_parts_of_the_stock_are_on_the_sheet_once(ask, finished, weir):
    for name, count in (("strip shim .030 in", 1), ("nut blank", 2), ("spring", 1)):
        ask("shop", "add-part", name)
        assert ask("shop", "stock", "used", name, count, "--visit", finished)[0] == 0
    assert ask("shop", "stock", "returned", "spring", 1, "--visit", finished)[0] == 0
    source = InShop(str(weir), finished)
    from_file = paper.sheet_of_job("kestrel-float.job.toml", "kestrel-finished.journal.txt", plan=False)
    with_stock = paper.sheet_of_job(source, plan=False).parts
    assert with_stock[: len(from_file.parts)] == from_file.parts
    assert [(one.what, one.amount) for one in with_stock[len(from_file.parts) :]] == [("nut blank", "2 pieces")]
    assert ("Strip shim", ".030 in") in [(one.what, one.amount) for one in from_file.parts]
