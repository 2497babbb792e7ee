"""The environment of the libraries that are compared with: made from its own lock, what does not build is left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from devtools import main, rivals
from devtools.environment import Machine
from devtools.steps import StepError

HERE = Machine(is_root=True, has_apt=True, has_ensurepip=True, python="/usr/bin/python3")
LOCK = """# made by a tool
aubio==0.4 \\
    --hash=sha256:aa
    # via -r rivals.in
librosa==1 \\
    --hash=sha256:bb \\
    --hash=sha256:cc
numpy==2 \\
    --hash=sha256:dd
praat-parselmouth==3 \\
    --hash=sha256:ee
pyworld==4 \\
    --hash=sha256:ff

# The following packages are considered to be unsafe in a requirements file:
setuptools==80 \\
    --hash=sha256:00
"""


class Recorder:
    """Runs nothing: keeps every command, fails those that name a word, and writes a log where one is asked for."""

    def __init__(self, failing: str = "no such word") -> None:
        self.lines: list[str] = []
        self.failing = failing

    def __call__(self, args: Sequence[str], env: Mapping[str, str] | None = None) -> int:
        self.lines.append(" ".join(args))
        if "--log" in args and self.failing in self.lines[-1]:
            log = Path(args[args.index("--log") + 1])
            log.write_text("2026 building\n2026   error: no compiler\n2026 done\n")
        return 7 if self.failing in "/".join(self.lines[-1].split("/")[-1:]) else 0


@pytest.fixture
def project(tmp_path: Path) -> Path:
    (tmp_path / "requirements").mkdir()
    (tmp_path / "requirements" / "rivals.txt").write_text(LOCK)
    (tmp_path / rivals.FOLDER / "bin").mkdir(parents=True)
    (tmp_path / rivals.FOLDER / "bin" / "python").touch()
    return tmp_path


def test_the_lock_in_pieces() -> None:
    some = rivals.pieces(LOCK)
    assert list(some) == ["aubio", "librosa", "numpy", "praat-parselmouth", "pyworld", "setuptools"]
    assert some["librosa"].split() == ["librosa==1", "\\", "--hash=sha256:bb", "\\", "--hash=sha256:cc"]


def test_what_they_need_comes_first_then_each_by_itself(project: Path) -> None:
    runner = Recorder()
    rivals.ensure(project, runner, HERE)
    installs = [line for line in runner.lines if "install" in line]
    assert len(installs) == 1 + len(rivals.LIBRARIES)
    assert all("--require-hashes --no-deps" in line for line in installs)
    assert runner.lines[-1].endswith("-m benchmarks.rivals_answer --warm")
    rest = (project / rivals.FOLDER / "rest.txt").read_text()
    assert "numpy==2" in rest
    assert "setuptools==80" in rest
    assert not any(f"{name}==" in rest for name in rivals.LIBRARIES)
    assert (project / rivals.FOLDER / "aubio.txt").read_text().startswith("aubio==0.4 ")
    assert rivals.left_out(project) == {}
    assert rivals.is_current(project)
    again = Recorder()
    rivals.ensure(project, again, HERE)
    assert again.lines == []


def test_one_that_does_not_build_is_left_out_with_the_reason(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rivals.ensure(project, Recorder("aubio.log"), HERE)
    assert rivals.left_out(project) == {"aubio": "error: no compiler"}
    assert "-- aubio is left out: error: no compiler" in capsys.readouterr().out
    assert rivals.is_current(project)


def test_nothing_said_is_said_so(project: Path) -> None:
    assert rivals._reason(project / "no.log") == "the installer says no more"


def test_without_what_they_need_nothing_is_made(project: Path) -> None:
    with pytest.raises(StepError, match="what the rivals need"):
        rivals.ensure(project, Recorder("rest.txt"), HERE)
    assert not rivals.is_current(project)


def test_a_changed_lock_is_installed(project: Path) -> None:
    rivals.ensure(project, Recorder(), HERE)
    (project / rivals.LOCK).write_text(LOCK + "\n")
    assert not rivals.is_current(project)


@pytest.mark.parametrize(
    ("words", "made"), [(["--rivals"], 1), (["--write", "--count", "2"], 1), (["--count", "2"], 0)]
)
def test_the_benchmark_makes_it_when_asked(words: list[str], made: int, monkeypatch: pytest.MonkeyPatch) -> None:
    done = []
    monkeypatch.setattr(main.environment, "ensure", lambda *_: "python")
    monkeypatch.setattr(rivals, "ensure", lambda *_: done.append(1))
    runner = Recorder()
    assert main.main(["bench", "listening", *words], Path.cwd(), runner) == 0
    assert len(done) == made
    assert runner.lines == [f"python -m benchmarks.bench_listening {' '.join(words)}"]
