"""The command line as every test here asks it."""

import json
import shutil
from pathlib import Path

import pytest

from setwright.cli.main import run

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.fixture(autouse=True)
def _nothing_from_outside(monkeypatch):
    for name in ("SETWRIGHT_UNITS", "SETWRIGHT_SHOP", "SETWRIGHT_SHOP_NAME"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def ask(capsys):
    def asked(*words):
        code = run([str(w) for w in words])
        out, err = capsys.readouterr()
        return code, out, err

    return asked


@pytest.fixture
def data(ask):
    """What a command answers with --json, in its document."""

    def asked(*words):
        code, out, err = ask(*words, "--json")
        assert (code, err) == (0, ""), out
        whole = json.loads(out)
        return whole[whole["document"]]

    return asked


@pytest.fixture(scope="session")
def new_weir(tmp_path_factory):
    """The shop as made once; every test has a copy of its own."""
    made = tmp_path_factory.mktemp("new") / "weir"
    assert run(["shop", "new", str(made), "--name", "Weir Lane Bench"]) == 0
    return made


@pytest.fixture
def weir(new_weir, tmp_path, monkeypatch):
    """A shop, named to every command, and where we stand."""
    shutil.copytree(new_weir, tmp_path / "weir")
    monkeypatch.setenv("SETWRIGHT_SHOP", str(tmp_path / "weir"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "weir"


@pytest.fixture
def kestrel(data, weir):
    """A visit of a floating bridge of Ada Lark's, before anything was done; its files lie beside the shop."""
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml"):
        shutil.copy(EXAMPLES / name, weir.parent)
    return data("shop", "add-job", weir.parent / "kestrel-float.job.toml", "--owner", "Ada Lark")["visit"]["id"]
