"""The command line as every test here asks it."""

import pytest

from setwright.cli.main import run


@pytest.fixture(autouse=True)
def _no_units_from_outside(monkeypatch):
    monkeypatch.delenv("SETWRIGHT_UNITS", raising=False)


@pytest.fixture
def ask(capsys):
    def asked(*words):
        code = run([str(w) for w in words])
        out, err = capsys.readouterr()
        return code, out, err

    return asked
