"""The commands as a shell sees them: answers, exit codes, JSON, pipes, nonsense."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from setwright import __version__
from setwright.cli.layout import WIDTH
from setwright.cli.main import COMMANDS, main

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
SET = [".010", ".013", ".017", ".026w", ".036w", ".046w"]
WIGEON = str(EXAMPLES / "wigeon-reradius.job.toml")
LAPWING = str(EXAMPLES / "lapwing-pull.job.toml")
KESTREL = str(EXAMPLES / "kestrel-float.job.toml")
KNOT = str(EXAMPLES / "knot-too-weak.job.toml")
JOBS = sorted(str(p) for p in EXAMPLES.glob("*.job.toml"))


def in_shell(line):
    command = f"set -o pipefail; {Path(sys.executable).with_name('setwright')} {line}"
    return subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, timeout=120)


def test_help_names_every_command_and_loads_none_of_them():
    code = "import sys; from setwright.cli.main import run; run(['--help']); print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.endswith("False\n")
    assert all(f"  {name} " in done.stdout for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_that_fits(ask, name):
    code, out, err = ask(name, "--help")
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= WIDTH


def test_version(ask):
    assert ask("--version") == (0, f"setwright {__version__}\n", "")


def test_main_leaves_with_the_exit_code(monkeypatch):
    monkeypatch.setattr(sys, "argv", ["setwright", "--version"])
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == 0


def test_without_a_command_the_help_is_shown_and_the_code_is_2(ask):
    code, out, err = ask()
    assert (code, out) == (2, "")
    assert "Commands:" in err


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        (["plan"], "usage"),
        (["bogus"], "usage"),
        (["plan", WIGEON, "--units", "furlong"], "usage"),
        (["plan", WIGEON, "--samples", "1"], "usage"),
        (["schema", "bogus"], "usage"),
        (["plan", "nowhere.toml"], "file"),
        (["plan", str(EXAMPLES)], "file"),
        (["plan", ""], "file"),
        (["plan", "\0"], "file"),
        (["plan", sys.executable], "file"),
        (["strings", *SET], "input"),
        (["strings", "x", "y", "z", "--scale", "25 in"], "input"),
        (["strings", ".010", ".013", "--scale", "25 in"], "input"),
        (["strings", *SET, "--scale", "25.5"], "unit"),
        (["strings", *SET, "--scale", "25.5 mm"], "input"),
        (["strings", *SET, "--scale", "25.5 in", "--tuning", "E4 B3"], "input"),
        (["strings", *SET, "--scale", "25.5 in", "--tuning", "E B G D A E"], "unit"),
        (["strings", *SET, "--scale", "25.5 in", "--tuning", "E9 B3 G3 D3 A2 E2"], "input"),
        (["strings", *SET, "--scale", "25.5 in", "--reference", "40 Hz"], "input"),
        (["strings", ".010", ".013", ".017", "--scale", "25.5 in"], "input"),
        (["strings", LAPWING, "--scale", "25.5 in"], "input"),
        (["predict", WIGEON, "--claw", "1"], "input"),
        (["predict", WIGEON, "--springs", "3"], "input"),
        (["predict", WIGEON, "--pivots", "1"], "input"),
        (["predict", WIGEON, "--wedge", "2 mm"], "input"),
        (["predict", LAPWING, "--claw", "30"], "input"),
        (["predict", LAPWING, "--claw", "1000"], "input"),
        (["predict", LAPWING, "--claw", "nan"], "input"),
        (["predict", LAPWING, "--claw", "1/2 turn up"], "unit"),
        (["predict", LAPWING, "--rod", "40"], "input"),
        (["predict", LAPWING, "--springs", "9"], "input"),
        (["predict", LAPWING, "--springs", "many"], "input"),
        (["predict", LAPWING, "--springs", "-9"], "input"),
        (["predict", LAPWING, "--saddle", "3"], "input"),
        (["predict", LAPWING, "--saddle", "7:1"], "input"),
        (["predict", LAPWING, "--saddle", "3:+20"], "input"),
        (["predict", LAPWING, "--length", "3:+30"], "input"),
        (["predict", LAPWING, "--pivots", "+9"], "input"),
        (["predict", LAPWING, "--strip", "-.020 in"], "input"),
        (["predict", LAPWING, "--strip", "40 mm"], "input"),
        (["predict", LAPWING, "--wedge", "400 mm"], "input"),
        (["predict", LAPWING, "--peg", "7:E4"], "input"),
        (["predict", LAPWING, "--peg", "1:E9"], "input"),
        (["predict", LAPWING, "--attitude", "sideways"], "input"),
        (["predict", LAPWING, "--temperature", "200 C"], "input"),
        (["predict", LAPWING, "--temperature", "20"], "unit"),
    ],
)
def test_what_cannot_be_used_gives_one_sentence_and_code_2(ask, words, kind):
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert err.startswith("setwright: ")
    assert err.count("\n") == 1
    assert "Traceback" not in err
    code, out, err = ask(*words, "--json")
    error = json.loads(out)["error"]
    assert (code, err, error["exit_code"]) == (2, "", 2)
    assert error["kind"] == ("usage" if words[0] == "schema" else kind)
    assert error["message"]


def test_strings_not_at_pitch_are_refused_with_what_to_do(ask, tmp_path):
    text = Path(WIGEON).read_text().replace('tuning = "standard"', 'state = "slack"')
    (tmp_path / "wigeon.instrument.toml").write_text((EXAMPLES / "wigeon.instrument.toml").read_text())
    (tmp_path / "slack.job.toml").write_text(text)
    code, _, err = ask("predict", tmp_path / "slack.job.toml")
    assert code == 2
    assert 'write state = "at pitch"' in err


@pytest.mark.parametrize(("units", "unit"), [("mm", " mm short"), ("inch", " in short")])
def test_no_plan_is_code_3_with_the_nearest_miss(ask, units, unit):
    code, out, err = ask("plan", KNOT, "--units", units)
    assert code == 3
    assert "nearest miss" in err
    assert unit in err
    assert "{" not in err + out
    assert out.startswith("  40 of 40 combinations fail.")
    assert unit in out
    code, out, err = ask("plan", KNOT, "--json")
    assert (code, err) == (3, "")
    error = json.loads(out)["error"]
    assert error["kind"] == "no plan"
    assert len(error["misses"]) == 40
    assert error["misses"][0]["reason"] in error["message"]


def test_the_plan_of_a_fixed_bridge(ask):
    code, out, err = ask("plan", WIGEON, "--samples", 64)
    assert (code, err) == (0, "")
    assert out.startswith("Wigeon: lower, saddles to the board's radius\n====")
    assert "FINISHED BALANCE" not in out


def test_the_json_is_the_plan(ask):
    from setwright.bench.data import as_data
    from setwright.bench.plans import plan_job
    from setwright.instrument.jobfile import read_job

    code, out, err = ask("plan", WIGEON, "--samples", 64, "--json")
    assert (code, err) == (0, "")
    document = json.loads(out)
    assert (document["document"], document["version"]) == ("plan", 1)
    plan = plan_job(read_job(WIGEON), 64)
    assert document["plan"] == as_data(plan)
    assert document["plan"]["best"]["steps"][0]["title"] == plan.best.steps[0].title


@pytest.mark.slow
@pytest.mark.parametrize("job", JOBS, ids=lambda path: Path(path).name.split(".")[0])
@pytest.mark.parametrize("units", ["mm", "inch"])
def test_every_demo_job_fits_80_columns_and_ends_as_it_should(ask, job, units):
    code, out, err = ask("plan", job, "--units", units, "--samples", 64)
    assert code == (3 if job == KNOT else 0), err
    assert all(len(line) <= WIDTH for line in out.splitlines())
    assert "nan" not in out.casefold().split()
    assert "{" not in out


@pytest.mark.parametrize("job", JOBS, ids=lambda path: Path(path).name.split(".")[0])
@pytest.mark.parametrize("command", ["predict", "strings"])
def test_predictions_and_strings_of_every_demo_job_fit(ask, job, command):
    for units in ("mm", "inch"):
        code, out, err = ask(command, job, "--units", units)
        assert (code, err) == (0, "")
        assert all(len(line) <= WIDTH for line in out.splitlines())
        code, out, _ = ask(command, job, "--json")
        assert json.loads(out)["version"] == 1


def test_units_come_from_the_option_then_the_environment_then_the_job(ask, monkeypatch):
    assert " mm" in ask("predict", WIGEON)[1]
    monkeypatch.setenv("SETWRIGHT_UNITS", "inch")
    assert " mm" not in ask("predict", WIGEON)[1]
    assert " mm" in ask("predict", WIGEON, "--units", "mm")[1]
    monkeypatch.setenv("SETWRIGHT_UNITS", "furlong")
    assert ask("predict", WIGEON)[0] == 2


def test_schema_prints_what_the_reader_reads_by(ask):
    from setwright.instrument.schema import schema

    for kind in ("job", "instrument"):
        code, out, _ = ask("schema", kind)
        assert code == 0
        assert json.loads(out) == json.loads(json.dumps(schema(kind)))


def test_strings_may_be_typed_as_one_word_or_as_many(ask):
    one = ask("strings", " ".join(SET), "--tuning", "standard", "--scale", "25.5 in")
    many = ask("strings", *SET, "--tuning", "E4 B3 G3 D3 A2 E2", "--scale", "25.5 in")
    assert one == many
    assert one[0] == 0
    assert "16.10 ± 0.07 lb" in one[1]
    assert "N" in ask("strings", *SET, "--scale", "648 mm")[1]


def test_a_string_near_breaking_is_marked_and_explained(ask):
    _, out, _ = ask("strings", ".010", ".013", ".026w", "--tuning", "B4 B3 B3", "--scale", "25.5 in")
    assert " % !" in out
    assert "String 1 (.010) carries" in out
    assert "gains little" in out
    assert "more core under less wrap" in out


def test_predict_says_what_was_asked(ask):
    _, out, _ = ask("predict", LAPWING, "--claw", "+1/8", "--peg", "3:-20 c", "--peg", "1:E4", "--rod", "1/8")
    assert "change      claw +1/8, peg 3:-20 c, peg 1:E4, rod 1/8" in out
    assert "assumed until it has been learned" in " ".join(out.split())
    assert "−20.0 ± 0.1 c" in out


def test_slack_strings_are_called_slack(ask):
    _, out, _ = ask("predict", LAPWING, "--peg", "1:1200 Hz")
    assert "slack" in out
    assert "String 1 would carry" in out


def test_one_side_of_the_claw_skews_the_plate(ask):
    _, out, _ = ask("predict", KESTREL, "--pivot-treble", "1/4", "--claw-bass", "1/2 turn out")
    assert "rear gap, treble end" in out


@pytest.mark.parametrize("line", [f"predict {WIGEON} | head -1", f"strings {LAPWING} | true", "schema job | head -1"])
def test_a_closed_pipe_is_quiet(line):
    done = in_shell(line)
    assert done.stderr == ""
    assert done.returncode in (0, 141)


def test_a_reader_that_has_gone_is_left_quietly():
    read_end, write_end = os.pipe()
    os.close(read_end)
    command = [sys.executable, "-c", "from setwright.cli.main import main; main(['schema', 'job'])"]
    done = subprocess.run(command, stdout=write_end, stderr=subprocess.PIPE, text=True, timeout=60, check=False)
    os.close(write_end)
    assert (done.returncode, done.stderr) == (141, "")


def test_stopping_by_hand_is_code_130(ask, monkeypatch):
    import setwright.bench.plans as plans

    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(plans, "plan_job", stop)
    assert ask("plan", WIGEON)[0] == 130
