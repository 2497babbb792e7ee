"""Every command line shown in README.md and docs/ runs, or stands here with the reason why not."""

from __future__ import annotations

import re
import shlex
import shutil
import sys
from pathlib import Path

import pytest

from devtools.main import COMMANDS as DEV
from setwright.cli.main import run
from tests.cli.made_shop import made
from tests.cli.made_takes import recorded, string

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", *sorted(str(page.relative_to(ROOT)) for page in (ROOT / "docs").rglob("*.md")))
LINE = re.compile(
    r"^(?:[ \t]*|\$ )(?:\.venv/bin/)?(?P<program>setwright|\./dev) (?P<words>\S.*?)(?:[ \t]{2,}.*)?$", re.MULTILINE
)
ANSWERING = "it waits for the other end of the line protocol; tests/cli/test_practice.py and test_link.py play it"
NOT_RUN = {
    "practice --serve 3": ANSWERING,
    "link": ANSWERING,
    'strike 15 "read on the wrong side"': "it strikes an entry of the journal shown above it; test_log.py strikes",
}
NOT_RUN_WITH = {  # words of lines that are not run
    re.compile(r"postgresql://"): "it needs a server; tests/records run every behaviour on one",
    re.compile(r"^bench "): "it serves until it is stopped; tests/web/test_serving.py starts it",
    re.compile(r"^shop (?:role|pin) "): "it needs the one named and a PIN; tests/cli/test_shop_access.py runs it",
}
INSTRUMENT, VISIT = "0yk2ge43", "8dqz6a6gm"  # ids as the docs show them
OPEN = (82.41, 110.0, 146.83, 196.0, 246.94, 329.63)  # Hz, from string 6, of the takes that are heard
SLOW = ("practice", "link", "hear")  # commands whose lines take seconds, as do those that plan for something else


def lines(program: str) -> list[str]:
    texts = [(ROOT / page).read_text(encoding="utf-8") for page in PAGES]
    return [one["words"] for text in texts for one in LINE.finditer(text) if one["program"] == program]


def why_not(line: str) -> str:
    there = (why for part, why in NOT_RUN_WITH.items() if part.search(line))
    return next((why for end, why in NOT_RUN.items() if line == end or line.endswith(f" {end}")), next(there, ""))


def to_run() -> list[object]:
    chosen = [line for line in lines("setwright") if not why_not(line)]
    slow = pytest.mark.slow
    long = [line.split()[0] in SLOW or "--plan" in line for line in chosen]
    return [pytest.param(line, marks=[slow] if one else []) for line, one in zip(chosen, long, strict=True)]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo files beside it and in it: what is written stays there."""
    folder = tmp_path_factory.mktemp("bench")
    shutil.copytree(ROOT / "examples", folder / "examples")
    for one in (ROOT / "examples").glob("*.toml"):
        shutil.copy(one, folder)
    return folder


def test_lines_that_follow_each_other_are_all_found():
    text = (
        "x\n\n    setwright plan a.job.toml\n    setwright plan b.job.toml   said beside it\n$ setwright schema job\n"
    )
    found = [one["words"] for one in LINE.finditer(f"{text}setwright log c\n    .venv/bin/setwright link\n")]
    assert found == ["plan a.job.toml", "plan b.job.toml", "schema job", "log c", "link"]


def test_there_are_lines_to_run():
    assert {line.split()[0] for line in lines("setwright")} >= {"plan", "predict", "notes", "strings", "schema", "link"}
    shown = (ROOT / "docs/getting-started.md").read_text(encoding="utf-8").splitlines()
    plain = [line.strip() for line in shown if line.startswith("    setwright ")]
    assert {f"setwright {line}" for line in lines("setwright")} >= set(plain)


def test_what_is_not_run_is_shown_somewhere():
    for end in NOT_RUN:
        assert any(line == end or line.endswith(f" {end}") for line in lines("setwright")), end
    for part in NOT_RUN_WITH:
        assert any(part.search(line) for line in lines("setwright")), part.pattern


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str, str]:
    """A shop, and the ids in it that stand for those of the docs."""
    folder = tmp_path_factory.mktemp("shown") / "shop"
    return (str(folder), *made(folder))


@pytest.mark.parametrize("line", to_run())
def test_a_line_of_the_docs_runs(line, bench, shop, monkeypatch, capsys):
    monkeypatch.chdir(bench)
    monkeypatch.setenv("SETWRIGHT_SHOP", shop[0])
    line = line.replace(INSTRUMENT, shop[1]).replace(VISIT, shop[2])
    monkeypatch.delenv("SETWRIGHT_UNITS", raising=False)
    if line.startswith("hear "):  # another recording for every line: a journal takes each once
        recorded(bench / "take.wav", [string(hertz, 0.9) for hertz in OPEN], seed=len(line))
    command = str(Path(sys.executable).with_name("setwright"))
    words = [word.replace(".venv/bin/setwright", shlex.quote(command)) for word in shlex.split(line)]
    assert run(words) == 0, capsys.readouterr().err
    assert capsys.readouterr().out


def test_lines_of_dev_name_commands_there_are():
    """They are not run here: ./dev runs these tests itself. tests/frame/test_dev.py runs what it does."""
    named = [line.split()[0] for line in lines("./dev")]
    assert len(named) > 5
    assert set(named) <= set(DEV)
