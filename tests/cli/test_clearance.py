"""setwright clearance as a shell sees it."""

import json
from pathlib import Path

import pytest

from setwright.cli.layout import WIDTH

EXAMPLES = Path(__file__).parents[2] / "examples"
WIGEON = str(EXAMPLES / "wigeon-reradius.job.toml")
JOBS = sorted(str(p) for p in EXAMPLES.glob("*.job.toml"))
FEW = ("--samples", "32")


@pytest.mark.parametrize("job", JOBS, ids=lambda path: Path(path).name.split(".")[0])
@pytest.mark.parametrize("units", ["mm", "inch"])
def test_the_map_of_every_demo_job_fits_80_columns(ask, job, units):
    code, out, err = ask("clearance", job, "--units", units, *FEW)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= WIDTH
    assert "HOW LOW, AS FOUND" in out


def test_a_stroke_in_pounds_and_a_place(ask):
    code, out, _ = ask("clearance", WIGEON, "--force", "0.1 lb", "--place", "12,5 %", "--plan", *FEW)
    assert code == 0
    assert "0.4 N square to the board, at 12 % of the open string" in " ".join(out.split())
    assert "HOW LOW, AFTER THE PLAN" in out


def test_the_json_is_the_table(ask):
    from setwright.bench.clearance import clearance_of
    from setwright.bench.data import as_data
    from setwright.instrument.jobfile import read_job

    code, out, err = ask("clearance", WIGEON, "--json", "--force", "0.5 N", *FEW)
    assert (code, err) == (0, "")
    document = json.loads(out)
    assert document["document"] == "clearance"
    assert document["clearance"] == as_data(clearance_of(read_job(WIGEON), 0.5, samples=32))


def lowered(tmp_path, values, room):
    text = Path(WIGEON).read_text()
    head, _, rest = text.partition("string_height = ")
    line = f"string_height = {{ fret = 12, values = {json.dumps([values] * 6)} }}"
    text = head + line + "\n" + rest.partition("\n")[2]
    text = text.replace('saddle_room = { up = "5 mm", down = "3 mm" }', f"saddle_room = {room}")
    (tmp_path / "wigeon.instrument.toml").write_text((EXAMPLES / "wigeon.instrument.toml").read_text())
    (tmp_path / "low.job.toml").write_text(text)
    return tmp_path / "low.job.toml"


def test_low_strings_name_the_bends_that_choke(ask, tmp_path):
    job = lowered(tmp_path, "0.75 mm", '{ up = "5 mm", down = "3 mm" }')
    code, out, err = ask("clearance", job, "--force", "0.1 N", *FEW)
    assert (code, err) == (0, "")
    assert "string 1: fret" in out
    assert "Told in steps of 25 c" in out


def test_saddles_without_room_say_so_once(ask, tmp_path):
    job = lowered(tmp_path, "2.5 mm", '{ up = "0.2 mm", down = "0.1 mm" }')
    text = " ".join(ask("clearance", job, "--force", "0.3 N", *FEW)[1].split())
    assert "String 1, 2, 3, 4, 5, 6: the saddle goes down 0.10 mm only" in text.replace("0.1 mm", "0.10 mm")
    text = " ".join(ask("clearance", job, "--force", "3 N", *FEW)[1].split())
    assert "which is not enough for this stroke" in text


def test_a_saddle_that_stands_right_stays():
    from setwright.bench.clearance import StringReach
    from setwright.bench.standing import Banded
    from setwright.cli.clearance_table import _saddle

    zero = Banded(0.0, 0.0)
    assert _saddle(StringReach(1, (), zero, zero, zero, zero, zero, 0.0, True)) == "stays"


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (["--force", "1.2"], "unit"),
        (["--force", "0 N"], "no stroke"),
        (["--force", "-1 N"], "no stroke"),
        (["--place", "15"], "no share"),
        (["--place", "nan%"], "no share"),
        (["--place", "80%"], "behind the last fret"),
    ],
)
def test_what_cannot_be_struck_gives_one_sentence(ask, words, reason):
    code, out, err = ask("clearance", WIGEON, *words, *FEW)
    assert (code, out) == (2, "")
    assert reason in err
    assert err.count("\n") == 1
