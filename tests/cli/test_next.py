"""setwright next: one step, in words and as JSON."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.next_step import Next, Standing
from setwright.cli.next_card import next_lines
from setwright.planning.guide import Advice
from setwright.planning.worth import Worth
from tests.cli.midway import job_midway

EXAMPLES = Path(__file__).parents[2] / "examples"
HARDWARE = ("did strip shim in .030 in", "did pivot up 2 turns", "did springs 3", "did step saddles")
WANTED = (329.63, 246.94, 196.0, 146.83, 110.0, 82.41)


@pytest.fixture
def job(tmp_path):
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml", "knot-too-weak.job.toml", "knot.instrument.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    return tmp_path / "kestrel-float.job.toml"


def log(ask, job, *lines):
    for line in lines:
        code, _, complaint = ask("log", job, *line.split())
        assert code == 0, complaint


def test_the_work_of_a_floating_plate_step_by_step(ask, job):
    code, out, _ = ask("next", job)
    assert code == 0
    assert "Step 1 of 10" in out
    assert "Protect the finish" in out
    log(ask, job, *HARDWARE)
    code, out, _ = ask("next", job)
    assert out.startswith("Hear strings 1, 2, 3, 4, 5, 6, read the rear gap and the claw distance.")
    log(ask, job, *(f"read pitch string {i} = -300 c ± 0.5 c" for i in range(1, 7)), "read rear gap = 0 mm ± 0.1 mm")
    code, out, _ = ask("next", job)
    assert code == 0
    assert "Put the wedge under the rear edge, rear gap 2.60 mm." in out
    assert "never let it snap back" in out
    assert "string 1 −300 c" in " ".join(out.split())
    assert "Tunings so far 0, still expected 6." in out
    log(ask, job, "did wedge in at 2.6 mm")
    document = json.loads(ask("next", job, "--json")[1])
    assert (document["document"], document["version"]) == ("next", 1)
    said = document["next"]
    assert (said["kind"], said["advice"]["do"], said["advice"]["string"]) == ("balance", "tune", 6)
    assert len(said["standing"]["cents"]) == len(said["standing"]["cents_sd"]) == 6
    assert said["entries"] == len(HARDWARE) + 8


def test_what_the_journal_cannot_mean_is_one_sentence(ask, job):
    log(ask, job, "did step polish")
    code, _, complaint = ask("next", job)
    assert code == 2
    assert "no step is called 'polish'" in complaint
    code, _, complaint = ask("next", job.with_name("nothing.job.toml"))
    assert code == 2


def test_no_plan_is_exit_code_3(ask, job):
    code, _, complaint = ask("next", job.with_name("knot-too-weak.job.toml"))
    assert code == 3
    assert "no plan exists" in complaint
    assert "{" not in complaint


def shown(**fields):
    return "\n".join(next_lines(Next("balance", wanted=WANTED, **fields), "mm"))


def test_every_kind_of_advice_has_its_words():
    told = {
        "Tune string 3 to 194.65 Hz (12 c under its own pitch).": Advice("tune", "x", 2, 194.646),
        "Tune string 3 to 196.00 Hz, its own pitch.": Advice("tune", "x", 2, 196.0),
        "Turn both claw screws out 1 3/8 turns ± 1/8.": Advice("claw", "x", turns=-1.375, turns_sd=0.05),
        "Turn both claw screws in 1/2 turn ± 1 1/8.": Advice("claw", "x", turns=0.5, turns_sd=0.57),
        "Take the wedge out.": Advice("wedge", "x"),
        "Lay the instrument as it will be played and checked.": Advice("attitude", "x"),
        "Done: inside every tolerance with 97 %.": Advice("done", "x", chance=0.971),
        "Done.": Advice("done", "x"),
        "Hear string 2.": Advice("read", "x", strings=(1,)),
    }
    for words, advice in told.items():
        assert shown(advice=advice).splitlines()[0] == words
    assert shown(advice=Advice("tune", "x", 2, 194.646)).count("own pitch") == 1
    bare = replace(Next("strings", advice=Advice("tune", "x", 2, 196.0)), expected=2)
    assert next_lines(bare, "inch")[0] == "Tune string 3 to 196.00 Hz (G3)."


def test_what_is_believed_and_what_to_read():
    standing = Standing((0.4, -12.0), (0.1, 2.0), 2.6e-3, 5e-5, 0.42)
    out = shown(
        advice=Advice("wedge", "x"), standing=standing, worth=Worth("pitch", 3, 0.4, 0.1), remarks=("#3 is left out",)
    )
    assert "string 2 −12 c ± 3.9 c" in " ".join(out.split())
    assert "all inside 42 %" in " ".join(out.split())
    assert "The reading that would help most: pitch of string 3 (claw from ± 25/32 turn to" in out
    assert out.endswith("#3 is left out.")
    assert "help most" not in shown(worth=Worth("rear gap", None, 0.01, 0.001))
    assert "most: rear gap (" in shown(worth=Worth("rear gap", None, 0.4, 0.1)).replace("\n", " ")
    assert np.isfinite(standing.gap)


HEAVY = {
    "scipy", "soundfile", "rich", "jsonschema", "mypy", "pytest", "hypothesis", "numpy.ma", "numpy.testing",
    "setwright.practice", "setwright.listening", "setwright.sheets", "setwright.bench.guided", "difflib", "tempfile",
}  # fmt: skip


def test_nothing_heavy_is_loaded_for_the_next_step(tmp_path):
    words = ["next", str(job_midway(tmp_path))]
    code = f"import sys; from setwright.cli.main import run; code = run({words!r}); print(code, *sys.modules)"
    clean = {name: value for name, value in os.environ.items() if not name.startswith("COV")}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=clean)
    *out, loaded = done.stdout.splitlines()
    assert out[0].startswith("Tune string 2 to 235.")
    code, *modules = loaded.split()
    assert code == "0"
    assert "numpy" in modules  # the list is that of the work, not of an empty start
    assert not HEAVY & set(modules)


def test_small_matrices_make_no_threads():
    code = "import os, setwright.cli; print(os.environ['OPENBLAS_NUM_THREADS'])"
    for given, expected in ((None, "1"), ("3", "3")):
        env = {name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
        env |= {"OPENBLAS_NUM_THREADS": given} if given else {}
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env)
        assert done.stdout.strip() == expected
