"""Clean strokes on the command line: the card of a plan that stays clean, and of one that cannot."""

import json
import re
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "examples"
CURLEW = EXAMPLES / "curlew-low.job.toml"


def flat(text):
    return re.sub(r"\s+", " ", text)


@pytest.fixture
def kestrel(tmp_path):
    """A job whose wanted heights collide with a stroke."""
    (tmp_path / "kestrel.instrument.toml").write_text((EXAMPLES / "kestrel.instrument.toml").read_text())
    text = (EXAMPLES / "kestrel-float.job.toml").read_text()
    text = text.replace("[want]", '[want]\nclean = true\nstroke = { force = "0.7 N", place = "15 %" }')
    (tmp_path / "hard.job.toml").write_text(text)
    return tmp_path / "hard.job.toml"


def test_the_card_tells_the_lowest_heights_and_every_strings_clearance(ask):
    code, out, err = ask("plan", CURLEW)
    assert (code, err) == (0, "")
    assert "As low as stays clean and no lower, struck with 1 N at 12 % of the string from the saddle." in flat(out)
    for string in range(1, 5):
        assert re.search(rf"least clearance, string {string} +no touch +0\.\d\d ± 0\.\d\d mm +yes", out)
        assert re.search(rf"height, string {string}, fret 12 +free +\d\.\d\d ± 0\.\d\d mm", out)
    assert max(map(len, out.splitlines())) <= 80


def test_json_holds_lines_and_end(ask):
    plan = json.loads(ask("plan", CURLEW, "--json")[1])["plan"]
    lines = [one for one in plan["best"]["targets"] if one["quantity"] == "least clearance"]
    assert [one["place"] for one in lines] == [f"string {i}, at least" for i in range(1, 5)]
    assert all(one["inside"] and one["kind"] == "length" and one["wanted"] == 0.0 for one in lines)
    assert len(plan["best"]["end"]["settings"]["unstretched"]) == 4


@pytest.mark.parametrize(("units", "needs"), [("mm", r"it needs \d\.\d\d mm at"), ("inch", r"it needs \.\d{3} in at")])
def test_heights_that_collide_are_code_3_with_what_they_need(ask, kestrel, units, needs):
    code, out, err = ask("plan", kestrel, "--units", units)
    assert code == 3
    assert re.search(
        rf"string \d, held at fret \d+, would touch fret \d+ when struck with 0\.7 N: {needs} fret 12", err
    )
    assert re.search(needs, flat(out))
