"""The docs agree with the code: glossary, dependencies, rooms, contents, locks, links and examples."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from pathlib import Path

import pytest

from devtools import pages
from setwright.instrument import traits
from setwright.instrument.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"


def rows(page: str) -> list[list[str]]:
    lines = (DOCS / page).read_text(encoding="utf-8").splitlines()
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("|")]


def fields() -> set[str]:
    groups = {field.name: getattr(traits, field.name.capitalize()) for field in dataclasses.fields(traits.Traits)}
    groups["settings"] = Settings
    return {f"`{group}.{field.name}`" for group, kind in groups.items() for field in dataclasses.fields(kind)}


def test_the_glossary_has_every_field_with_a_unit_and_no_other() -> None:
    listed = {row[1]: row for row in rows("glossary.md") if re.fullmatch(r"`\w+\.\w+`", row[1])}
    assert set(listed) == fields()
    assert [name for name, row in listed.items() if len(row) != 4 or not (row[2] and row[3])] == []


def test_every_dependency_has_its_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    asked = [*project["project"]["dependencies"], *project["build-system"]["requires"]]
    for source in sorted((ROOT / "requirements").glob("*.in")):
        asked += [line for line in source.read_text(encoding="utf-8").splitlines() if line and line[0] not in "#-"]
    names = {re.split(r"[<>=!~\[; ]", line)[0] for line in asked}
    reasons = {row[0].strip("`"): row[1:] for row in rows("dependencies.md") if row[0].startswith("`")}
    assert set(reasons) == names
    assert all(len(cells) == 2 and all(cells) for cells in reasons.values())


@pytest.mark.parametrize("name", ["run", "dev", "rivals"])
def test_a_lock_holds_what_is_asked_for_with_hashes_and_names_no_host(name: str) -> None:
    text = (ROOT / "requirements" / f"{name}.txt").read_text(encoding="utf-8")
    locked = re.findall(r"^([\w.-]+)==\S+ \\\n    --hash=sha256:[0-9a-f]{64}", text, re.MULTILINE)
    assert len(locked) == len(re.findall(r"^[\w.-]+", text, re.MULTILINE))
    asked = re.findall(r"^[\w-]+", (ROOT / "requirements" / f"{name}.in").read_text(encoding="utf-8"), re.MULTILINE)
    assert {word for word in asked if word[0] != "-"} <= set(locked)
    assert not re.search(r"://|index|find-links|trusted-host", text)


def test_the_run_lock_and_the_dev_lock_agree() -> None:
    pin = re.compile(r"^[\w.-]+==\S+", re.MULTILINE)
    run, dev = (set(pin.findall((ROOT / "requirements" / f"{name}.txt").read_text())) for name in ("run", "dev"))
    assert run <= dev


def test_the_architecture_names_every_room_in_the_order_of_the_layers() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers = project["tool"]["importlinter"]["contracts"][0]["layers"]
    rooms = [row[0].strip("`") for row in rows("architecture.md") if re.fullmatch(r"`\w+`", row[0])]
    assert [f"setwright.{room}" for room in rooms] == layers
    there = {path.stem for path in (ROOT / "src" / "setwright").iterdir() if path.suffix in ("", ".py")}
    assert {name for name in there if not name.startswith("_")} <= set(rooms)


def test_the_contents_page_leads_to_every_page() -> None:
    text = (DOCS / "index.md").read_text(encoding="utf-8")
    there = {str(path.relative_to(DOCS)) for path in DOCS.rglob("*.md")} - {"index.md"}
    assert there == set(re.findall(r"\]\(([\w/.-]+\.md)\)", text))


def test_decision_records_have_their_four_headings_and_follow_in_number() -> None:
    records = sorted((DOCS / "decisions").glob("*.md"))
    assert [int(path.name[:4]) for path in records] == list(range(1, len(records) + 1))
    for path in records:
        text = path.read_text(encoding="utf-8")
        assert re.findall(r"^\*\*(\w+)\.\*\*", text, re.MULTILINE) == [
            "Question",
            "Decision",
            "Reasons",
            "Consequences",
        ]


def test_links_commands_and_examples_hold() -> None:
    assert [*pages.dead_links(ROOT), *pages.unknown_commands(ROOT), *pages.failing_examples(ROOT)] == []


def test_the_readme_begins_with_the_job_and_names_the_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert re.findall(r"^    (\./dev \w+)", text, re.MULTILINE) == ["./dev run", "./dev test"]
    assert len(text.splitlines()) < 40
