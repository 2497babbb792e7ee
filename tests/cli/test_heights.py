"""setwright heights as a shell sees it."""

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
def test_the_heights_of_every_demo_job_fit_80_columns(ask, job, units):
    code, out, err = ask("heights", job, "--units", units, "--capo", 1, *FEW)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= WIDTH
    assert "WITH A CAPO ON 1, AS FOUND" in out
    assert "read this way" in out


def test_frets_and_ways_asked_for(ask):
    code, out, _ = ask("heights", WIGEON, "--fret", 12, "--fret", 1, "--relief", "1,6,12", "--plan", *FEW)
    rows = [line for line in out.splitlines() if line.strip()[:2] in ("1 ", "12")]
    assert code == 0
    assert len(rows) == 4
    assert "held at 1 and 12, read at 6" in out
    assert out.count("read this way") == 1
    assert "RELIEF, AFTER THE PLAN" in out


def test_the_json_is_the_table(ask):
    from setwright.bench.data import as_data
    from setwright.bench.heights import heights_of
    from setwright.instrument.jobfile import read_job

    code, out, err = ask("heights", WIGEON, "--json", "--fret", 5, "--capo", 2, *FEW)
    assert (code, err) == (0, "")
    document = json.loads(out)
    assert document["document"] == "heights"
    assert document["heights"] == as_data(heights_of(read_job(WIGEON), (5,), 2, samples=32))
    assert document["heights"]["states"][0]["capoed"][0][1] is None


def test_twelve_strings_stand_in_two_tables(ask):
    from dataclasses import replace

    from setwright.bench.heights import heights_of
    from setwright.cli.heights_table import heights_text
    from setwright.instrument.jobfile import read_job

    result = heights_of(read_job(WIGEON), samples=32)
    state = result.states[0]
    many = replace(result, strings=result.strings * 2, states=(replace(state, heights=state.heights * 2),))
    text = heights_text(many, "inch")
    assert "12: .046w" in text
    assert max(map(len, text.splitlines())) <= WIDTH


def test_a_neck_that_bends_back_is_explained(ask, tmp_path):
    text = Path(WIGEON).read_text().replace('value = ".010 in ± .001 in"', 'value = "-.004 in ± .001 in"')
    (tmp_path / "wigeon.instrument.toml").write_text((EXAMPLES / "wigeon.instrument.toml").read_text())
    (tmp_path / "back.job.toml").write_text(text)
    code, out, err = ask("heights", tmp_path / "back.job.toml", *FEW)
    if code == 0:
        assert "bends back" in out
    else:
        assert "relief" in err


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (["--fret", "40"], "1<=x<=36"),
        (["--fret", "23"], "no fret 23"),
        (["--capo", "22"], "leaves no fret"),
        (["--relief", "1,8"], "names no three frets"),
        (["--relief", "8,1,17"], "does not rise"),
        (["--relief", "0,1,17"], "does not rise"),
        (["--relief", "1,8,30"], "no fret 30"),
    ],
)
def test_what_cannot_be_read_gives_one_sentence(ask, words, reason):
    code, out, err = ask("heights", WIGEON, *words, *FEW)
    assert (code, out) == (2, "")
    assert reason in err
    assert err.count("\n") == 1
