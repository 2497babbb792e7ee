"""setwright shop export, import, export-owner, forget-owner, wipe, as the bench types them."""

import json
import shutil
from pathlib import Path

import jsonschema
import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "examples"


@pytest.fixture(autouse=True)
def _no_shop_from_outside(monkeypatch):
    monkeypatch.delenv("SETWRIGHT_SHOP", raising=False)


@pytest.fixture
def shop(ask, tmp_path):
    for name in ("dunlin-heavier.job.toml", "dunlin.instrument.toml"):
        shutil.copy(EXAMPLES / name, tmp_path)
    job, at = tmp_path / "dunlin-heavier.job.toml", tmp_path / "weir"
    said(ask("shop", "new", at, "--name", "Weir Lane Bench"))
    said(ask("log", job, "read", "rear gap = 2.6 mm", "--by", "Bo"))
    said(ask("log", job, "note", "told Ada Lark", "--by", "Bo"))
    said(ask("shop", "add-job", job, "--owner", "Ada Lark", "--shop", at))
    return at


def said(answer):
    code, out, err = answer
    assert (code, err) == (0, "")
    return out


def test_a_shop_goes_out_and_comes_back(ask, shop, tmp_path):
    out = said(ask("shop", "export", tmp_path / "out", "--shop", shop)).splitlines()
    assert out[0] == f"{tmp_path}/out: 1 instrument, 1 visit, 2 entries, 0 files."
    back = said(ask("shop", "import", tmp_path / "out", "--shop", tmp_path / "second")).splitlines()
    assert back[0] == f"Weir Lane Bench is now in {tmp_path}/second: 1 instrument, 1 visit, 2 entries, 0 files."
    assert out[1] == back[1]
    assert len(out[1].split()[1]) == 64
    data = json.loads(said(ask("shop", "export", tmp_path / "again", "--shop", tmp_path / "second", "--json")))
    assert data["document"] == "shop export"
    assert data["shop export"]["sha256"] == out[1].split()[1]
    assert data["shop export"]["rows"]["entry"] == 2
    data = json.loads(said(ask("shop", "import", tmp_path / "again", "--shop", tmp_path / "third", "--json")))
    assert data["shop import"]["name"] == "Weir Lane Bench"
    assert data["shop import"]["contents"] == {"files": 0, "bytes": 0}


def test_what_is_refused_is_one_sentence(ask, shop, tmp_path):
    for words in (
        ("export", tmp_path / "out"), ("export", "", "--shop", shop), ("export", shop, "--shop", shop),
        ("import", tmp_path / "nowhere", "--shop", tmp_path / "new"), ("import", "", "--shop", tmp_path / "new"),
        ("import", tmp_path, "--shop", tmp_path / "new"), ("import", tmp_path), ("wipe",),
        ("export-owner", "Nobody", tmp_path / "out", "--shop", shop), ("forget-owner", "Nobody", "--shop", shop),
    ):  # fmt: skip
        code, out, err = ask("shop", *words)
        assert (code, out) == (2, ""), words
        assert len(err.splitlines()) == 1
        assert err.endswith(".\n")
    assert not (tmp_path / "out").exists()
    assert not (tmp_path / "new").exists()


def test_forgetting_is_looked_at_first(ask, shop, tmp_path):
    look = said(ask("shop", "forget-owner", "Ada Lark", "--shop", shop))
    assert look == (
        "To be deleted: the owner of 1 instrument with 1 visit.\n"
        "  goes        name, contact, note, wishes 1, notes 1, notes of changes 1\n"
        "  stays       readings, work done, parts, climate, notes with their words 1\n"
        "              (--notes takes them)\n"
        "Nothing is deleted yet; say it again with --yes.\n"
    )
    assert "Ada Lark" in said(ask("shop", "instruments", "--shop", shop))
    data = json.loads(said(ask("shop", "forget-owner", "Ada Lark", "--notes", "--yes", "--shop", shop, "--json")))
    assert data["shop forgotten"]["done"]
    assert data["shop forgotten"]["counts"]["notes"] == 1
    assert "Ada Lark" not in said(ask("shop", "instruments", "--shop", shop))
    assert said(ask("shop", "check", "--shop", shop)).endswith("All is whole.\n")
    assert ask("shop", "forget-owner", "Ada Lark", "--yes", "--shop", shop)[0] == 2


def test_forgetting_says_where_traces_are_left(ask, shop):
    done = said(ask("shop", "forget-owner", "Ada Lark", "--yes", "--keep-photos", "--by", "Bo", "--shop", shop))
    assert done.startswith("Deleted: the owner of 1 instrument with 1 visit.\n")
    assert "Backups and exports made before still hold" in done
    assert all(len(line) <= 80 for line in done.splitlines())


def test_an_owner_gets_a_folder(ask, shop, tmp_path):
    out = said(ask("shop", "export-owner", "Ada Lark", tmp_path / "ada", "--shop", shop))
    assert out.startswith(f"{tmp_path}/ada: 1 instrument, 1 visit, 2 entries, 0 files of Ada Lark.\n")
    data = json.loads(said(ask("shop", "export-owner", "Ada Lark", tmp_path / "two", "--shop", shop, "--json")))
    assert data["shop export"]["rows"]["owner"] == 1
    schema = json.loads((ROOT / "docs" / "shop-exchange.schema.json").read_text("utf-8"))
    jsonschema.validate(json.loads((tmp_path / "two" / "manifest.json").read_text("utf-8")), schema)


def test_wiping_waits_for_others(ask, shop, monkeypatch):
    from setwright.records import privacy
    from setwright.records.shop import open_shop

    assert said(ask("shop", "wipe", "--shop", shop)) == "What was deleted is overwritten.\n"
    assert json.loads(said(ask("shop", "wipe", "--shop", shop, "--json")))["shop wipe"] == {"done": True}
    monkeypatch.setattr(privacy, "_WAIT", 50)
    with open_shop(shop) as other, other.writing():
        code, out, _ = ask("shop", "wipe", "--shop", shop)
    assert code == 2
    assert out == "Another bench is at work; do it again when it has finished.\n"


def test_the_schema_on_the_page_is_that_of_the_program(ask):
    page = ROOT / "docs" / "shop-exchange.schema.json"
    assert page.read_text("utf-8") == said(ask("schema", "shop")), "run setwright schema shop > docs/" + page.name
