"""setwright plan --draw as a shell sees it."""

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[2] / "examples"
PLOVER, WIGEON, KNOT = (
    str(EXAMPLES / f"{name}.job.toml") for name in ("plover-dive", "wigeon-reradius", "knot-too-weak")
)
FEW = ("--samples", "32")


def test_a_plan_is_drawn_beside_its_card_and_the_card_names_the_files(ask, tmp_path):
    folder = tmp_path / "drawn"
    code, card, err = ask("plan", PLOVER, *FEW)
    assert (code, err) == (0, "")
    assert "DRAWN" not in card
    code, out, err = ask("plan", PLOVER, "--draw", folder, *FEW)
    assert (code, err) == (0, "")
    files = ["plover-dive-balance.svg", "plover-dive-ranges.svg", "plover-dive-side-view.svg"]
    assert sorted(one.name for one in folder.iterdir()) == files
    assert out.startswith(card)
    assert all(f"  {folder / name}" in out.split("DRAWN TO SCALE")[1] for name in files)
    for one in folder.iterdir():
        assert ET.fromstring(one.read_bytes()).findtext("{http://www.w3.org/2000/svg}title").endswith("dive-only")


def test_json_is_the_same_with_drawings(ask, tmp_path):
    _, plain, _ = ask("plan", WIGEON, "--json", *FEW)
    code, out, err = ask("plan", WIGEON, "--json", "--draw", tmp_path, *FEW)
    assert (code, err) == (0, "")
    assert json.loads(out) == json.loads(plain)
    assert [one.name for one in tmp_path.iterdir()] == ["wigeon-reradius-side-view.svg"]


@pytest.mark.parametrize(("system", "unit"), [("inch", " in<"), ("mm", " mm<")])
def test_drawings_speak_the_units_asked_for(ask, tmp_path, system, unit):
    code, _, _ = ask("plan", WIGEON, "--units", system, "--draw", tmp_path, *FEW)
    assert code == 0
    assert unit in next(tmp_path.iterdir()).read_text(encoding="utf-8")


def test_without_a_plan_nothing_is_drawn(ask, tmp_path):
    code, _, err = ask("plan", KNOT, "--draw", tmp_path / "drawn", *FEW)
    assert code != 0
    assert "no plan" in err
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_is_no_folder_is_refused_in_one_sentence_before_anything_is_said(ask, tmp_path):
    (tmp_path / "file").write_text("x")
    code, out, err = ask("plan", WIGEON, "--draw", tmp_path / "file", *FEW)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "is a file, not a folder" in err
