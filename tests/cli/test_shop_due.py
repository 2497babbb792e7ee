"""setwright shop due: instruments to be looked at again, as words and as JSON."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.fixture
def weir(ask, tmp_path, monkeypatch):
    """A shop with one instrument handed back, to be looked at again on a day."""
    monkeypatch.setenv("SETWRIGHT_SHOP", str(tmp_path / "weir"))
    for name in ("plover-dive.job.toml", "plover.instrument.toml"):
        shutil.copy(EXAMPLES / name, tmp_path)
    ask("shop", "new", tmp_path / "weir")
    added = json.loads(ask("shop", "add-job", tmp_path / "plover-dive.job.toml", "--owner", "Ada Lark", "--json")[1])
    visit = added[added["document"]]["visit"]
    code, _, err = ask("shop", "hand-back", visit["id"], "--recheck", "2099-02-25")
    assert code == 0, err


def test_what_is_due_is_listed_with_whom_to_call(ask, weir):
    assert ask("shop", "due", "--today", "2099-02-24")[1].startswith("No instrument is to be looked at again yet.")
    for today, words in (("2099-02-25", "today"), ("2099-02-26", "1 day ago"), ("2099-03-27", "30 days ago")):
        out = ask("shop", "due", "--today", today)[1]
        assert f"2099-02-25  {words}" in out
        assert "Ada Lark" in out
    assert "in 2 days" in ask("shop", "due", "--today", "2099-02-23", "--ahead", "7")[1]


def test_the_same_as_json_and_what_is_refused(ask, weir):
    said = json.loads(ask("shop", "due", "--today", "2099-03-01", "--json")[1])
    assert (said["document"], said["version"]) == ("shop due", 1)
    (one,) = said["shop due"]["due"]
    assert (one["day"], one["late"], one["owner"]) == ("2099-02-25", 4, "Ada Lark")
    for words in (("--today", "soon"), ("--ahead", "-1"), ("--ahead", "99999")):
        code, out, err = ask("shop", "due", *words)
        assert (code, out) == (2, "")
        assert err.count("\n") == 1
