"""Every `setwright ...` line shown in README.md and docs/getting-started.md runs."""

import re
import shlex
from pathlib import Path

import pytest

from setwright.cli.main import run

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", "docs/getting-started.md")
LINE = re.compile(r"^(?: {4}|\$ )(?:\.venv/bin/)?setwright (.+?)(?:\s{2,}.*)?$", re.MULTILINE)


def lines():
    return [line for page in PAGES for line in LINE.findall((ROOT / page).read_text(encoding="utf-8"))]


def test_there_are_lines_to_run():
    assert {line.split()[0] for line in lines()} >= {"plan", "predict", "strings", "schema"}


@pytest.mark.parametrize("line", lines())
def test_a_line_of_the_docs_runs(line, monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    monkeypatch.delenv("SETWRIGHT_UNITS", raising=False)
    assert run(shlex.split(line)) == 0, capsys.readouterr().err
    assert capsys.readouterr().out
