"""The ./dev script: what it runs, in which order, what it says when something is missing. Nothing is installed here."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from devtools import demo, environment, main, programs, steps
from devtools.environment import Machine
from devtools.steps import StepError

ROOT = Path(__file__).resolve().parents[2]
ROOTED = Machine(is_root=True, has_apt=True, has_ensurepip=True, python="/usr/bin/python3")


class Recorder:
    """A runner that runs nothing: it keeps every command and answers with the code its rule gives."""

    def __init__(self, rule: Callable[[str], int] = lambda line: 0) -> None:
        self.lines: list[str] = []
        self.environments: list[Mapping[str, str]] = []
        self.rule = rule

    def __call__(self, args: Sequence[str], env: Mapping[str, str] | None = None) -> int:
        self.lines.append(" ".join(args))
        self.environments.append(env or {})
        return self.rule(self.lines[-1])

    def said(self, *parts: str) -> bool:
        return any(all(part in line for part in parts) for line in self.lines)


@pytest.fixture
def project(tmp_path: Path) -> Path:
    (tmp_path / "requirements").mkdir()
    (tmp_path / "requirements" / "dev.txt").write_text("numpy==2\n")
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    (tmp_path / ".venv" / "bin").mkdir(parents=True)
    return tmp_path


@pytest.fixture
def ready(project: Path) -> Path:
    (project / ".venv" / "bin" / "python").touch()
    (project / environment.STAMP).write_text(environment.fingerprint(project))
    return project


class TestSetUp:
    def test_a_bare_project_gets_environment_lock_and_itself(self, project: Path) -> None:
        runner = Recorder()
        environment.ensure(project, runner, ROOTED)
        assert [line.split()[2] for line in runner.lines[:1]] == ["venv"]
        assert "--require-hashes --no-deps -r requirements/dev.txt" in runner.lines[1]
        assert "--no-deps --no-build-isolation -e ." in runner.lines[2]
        assert runner.lines[3].endswith("check")
        assert len(runner.lines) == 4

    def test_an_environment_of_another_python_is_made_anew(self, ready: Path) -> None:
        (ready / environment.STAMP).unlink()
        runner = Recorder(lambda line: 1 if "import pip, sys" in line else 0)
        environment.ensure(ready, runner, ROOTED)
        assert runner.said("-m venv --clear")

    def test_the_second_time_nothing_runs(self, project: Path) -> None:
        environment.ensure(project, Recorder(), ROOTED)
        (project / ".venv" / "bin" / "python").touch()
        runner = Recorder()
        environment.ensure(project, runner, ROOTED)
        assert runner.lines == []

    @pytest.mark.parametrize("changed", ["requirements/dev.txt", "pyproject.toml"])
    def test_a_changed_lock_or_project_file_installs_again(self, ready: Path, changed: str) -> None:
        (ready / changed).write_text("other\n")
        runner = Recorder()
        environment.ensure(ready, runner, ROOTED)
        assert runner.said("--require-hashes")
        assert not runner.said("-m venv")
        assert environment.is_current(ready)

    def test_a_failed_install_leaves_no_stamp(self, ready: Path) -> None:
        (ready / "requirements/dev.txt").write_text("other\n")
        with pytest.raises(StepError, match="packages of the lock"):
            environment.ensure(ready, Recorder(lambda line: 3 if "--require-hashes" in line else 0), ROOTED)
        assert not (ready / environment.STAMP).exists()

    def test_root_on_debian_installs_the_missing_venv_package(self, project: Path) -> None:
        runner = Recorder()
        environment.ensure(project, runner, replace(ROOTED, has_ensurepip=False))
        update, install = runner.lines[:2]
        assert update.startswith("apt-get update")
        assert install.startswith("apt-get install -y")
        assert "python3-venv" in install
        assert runner.environments[1]["DEBIAN_FRONTEND"] == "noninteractive"

    @pytest.mark.parametrize("lacking", [{"is_root": False}, {"has_apt": False}])
    def test_anyone_else_gets_one_sentence(self, project: Path, lacking: dict[str, bool]) -> None:
        runner = Recorder()
        with pytest.raises(StepError, match="install the package python3-venv"):
            environment.ensure(project, runner, replace(ROOTED, has_ensurepip=False, **lacking))  # type: ignore[arg-type]
        assert runner.lines == []

    def test_this_machine_is_seen(self) -> None:
        assert Machine.here().python == sys.executable

    def test_other_python_packages_are_kept_out(self) -> None:
        clean = steps.clean_environment({"PYTHONPATH": "/x", "VIRTUAL_ENV": "/y", "HOME": "/h"}, {"A": "b"})
        assert clean == {"HOME": "/h", "PYTHONNOUSERSITE": "1", "OPENBLAS_NUM_THREADS": "1", "A": "b"}


class TestPrograms:
    @pytest.fixture
    def needs(self, project: Path) -> tuple[programs.Need, ...]:
        for folder in ("tests/browser", "tests/records"):
            (project / folder).mkdir(parents=True)
            (project / folder / "test_x.py").touch()
        return tuple(programs.Need(need.folder, need.package, lambda: False) for need in programs.NEEDS)

    def test_root_gets_them_installed(self, project: Path, needs: tuple[programs.Need, ...]) -> None:
        runner = Recorder()
        programs.provide(project, runner, ROOTED, needs)
        assert runner.said("apt-get install", "chromium", "postgresql")

    def test_others_are_told_what_is_skipped(
        self, project: Path, needs: tuple[programs.Need, ...], capsys: pytest.CaptureFixture[str]
    ) -> None:
        runner = Recorder()
        programs.provide(project, runner, replace(ROOTED, is_root=False), needs)
        assert runner.lines == []
        said = capsys.readouterr().out
        assert "chromium in tests/browser will be skipped" in said
        assert "apt-get install postgresql" in said

    def test_without_such_tests_nothing_is_installed(self, tmp_path: Path) -> None:
        runner = Recorder()
        programs.provide(tmp_path, runner, ROOTED)
        assert runner.lines == []

    def test_what_is_there_is_left_alone(self, project: Path, needs: tuple[programs.Need, ...]) -> None:
        runner = Recorder()
        programs.provide(project, runner, ROOTED, tuple(replace(need, present=lambda: True) for need in needs))
        assert runner.lines == []

    def test_the_real_probes_answer(self) -> None:
        assert all(need.present() in (True, False) for need in programs.NEEDS)


class TestCommands:
    def call(self, root: Path, *words: str, rule: Callable[[str], int] = lambda line: 0) -> tuple[int, Recorder]:
        runner = Recorder(rule)
        return main.main(words, root, runner), runner

    def test_test_runs_all_with_the_coverage_gate(self, ready: Path) -> None:
        code, runner = self.call(ready, "test")
        assert code == 0
        assert runner.said("-m pytest", "-n 2", "--cov-branch", "--cov-fail-under=95")

    def test_quick_leaves_out_the_slow_and_the_coverage(self, ready: Path) -> None:
        _, runner = self.call(ready, "test", "--quick", "-k", "nut")
        assert runner.said("-m not slow --dist loadfile -k nut")
        assert not runner.said("--cov")

    def test_further_arguments_reach_pytest_without_the_gate(self, ready: Path) -> None:
        _, runner = self.call(ready, "test", "tests/unit", "-x")
        assert runner.lines[-1].endswith("tests/unit -x")
        assert not runner.said("--cov")

    def test_the_exit_code_of_pytest_is_ours(self, ready: Path, capsys: pytest.CaptureFixture[str]) -> None:
        code, _ = self.call(ready, "test", rule=lambda line: 5)
        assert code == 5
        assert "dev: tests failed" in capsys.readouterr().out

    def test_check_runs_every_step_and_names_those_that_fail(
        self, ready: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        code, runner = self.call(ready, "check", rule=lambda line: 1 if "mypy" in line or "sizes" in line else 0)
        assert code == 1
        assert len(runner.lines) == 7
        assert "2 of 7 checks failed: types (mypy), sizes." in capsys.readouterr().out

    @pytest.mark.parametrize(("committed", "code"), [("as made", 0), ("older", 1)])
    def test_check_compares_the_validation_page(self, ready: Path, committed: str, code: int) -> None:
        (ready / "docs").mkdir()
        (ready / main.VALIDATION).write_text(committed)

        def write_page(line: str) -> int:
            if "--validation-page" in line:
                Path(line.split()[-1]).write_text("as made")
            return 0

        assert self.call(ready, "check", rule=write_page)[0] == code

    def test_docs_lock_and_bench(self, ready: Path) -> None:
        _, runner = self.call(ready, "docs")
        assert runner.said("devtools.tables")
        assert runner.said("tests/published", "docs/validation.md")
        _, runner = self.call(ready, "lock")
        assert runner.said("--generate-hashes", "--no-emit-index-url", "-o requirements/run.txt")
        assert runner.said("-o requirements/dev.txt")
        assert runner.said("-o requirements/rivals.txt")
        assert self.call(ready, "bench", "fleet")[1].said("benchmarks", "-k fleet")
        assert not self.call(ready, "bench")[1].said("-k")
        assert self.call(ready, "bench", "rounds", "--count", "5")[1].said("benchmarks.bench_rounds --count 5")
        assert self.call(ready, "bench", "listening", "--count", "5")[1].said("benchmarks.bench_listening --count 5")

    def test_pictures_are_taken_of_every_page_or_of_some(self, ready: Path) -> None:
        assert self.call(ready, "pictures")[1].said("-m devtools.pictures")
        assert self.call(ready, "pictures", "step, kestrel", "day")[1].said("devtools.pictures step, kestrel day")

    def test_stopping_by_hand_is_no_traceback(self, ready: Path, capsys: pytest.CaptureFixture[str]) -> None:
        def stop(line: str) -> int:
            raise KeyboardInterrupt

        assert self.call(ready, "bench", rule=stop)[0] == 130
        assert "stopped" in capsys.readouterr().out

    def test_run_lists_the_demo_jobs_and_plans_the_first(self, ready: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (ready / "examples").mkdir()
        (ready / "examples" / "alder.job.toml").write_text("[job]\ntitle = 'A fixed bridge, lower'\n")
        (ready / "examples" / demo.FIRST).write_text("[job]\ntitle = 'To floating'\n")
        code, runner = self.call(ready, "run")
        assert code == 0
        assert runner.lines == [f"{ready}/.venv/bin/setwright plan examples/{demo.FIRST}"]
        said = capsys.readouterr().out
        assert said.index("kestrel-float        To floating") < said.index("alder                A fixed bridge, lower")

    @pytest.mark.parametrize("text", ["no toml", "job = 1", "[other]"])
    def test_run_names_a_demo_file_that_is_no_job(
        self, ready: Path, text: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        (ready / "examples").mkdir()
        (ready / "examples" / "bad.job.toml").write_text(text)
        assert self.call(ready, "run")[0] == 1
        assert "bad.job.toml is not a job file with a title" in capsys.readouterr().out

    def test_run_plans_the_job_files_named(self, ready: Path) -> None:
        _, runner = self.call(ready, "run", "mine.job.toml")
        assert [line.split()[-1] for line in runner.lines] == ["mine.job.toml"]

    def test_run_opens_the_demo_shop_on_a_terminal_or_when_it_is_asked_to(self, ready: Path) -> None:
        (ready / "examples").mkdir()
        (ready / "examples" / demo.FIRST).write_text("[job]\ntitle = 'To floating'\n")
        setwright = f"{ready}/.venv/bin/setwright"
        made = [f"{setwright} plan examples/{demo.FIRST}", f"{setwright} shop demo .demo-shop"]
        _, runner = self.call(ready, "run", "--serve", "--port", "0")
        assert runner.lines == [*made, f"{setwright} bench --shop .demo-shop --port 0"]
        (ready / ".demo-shop").mkdir()
        terminal = Recorder()
        demo.run(ready, terminal, f"{ready}/.venv/bin/python", (), terminal=True)
        kept = [f"{setwright} shop upgrade --shop .demo-shop", f"{setwright} bench --shop .demo-shop"]
        assert terminal.lines == [made[0], *kept]
        named = Recorder()
        demo.run(ready, named, f"{ready}/.venv/bin/python", ("mine.job.toml",), terminal=True)
        assert named.lines == [f"{setwright} plan mine.job.toml"]

    def test_run_without_jobs_says_so(self, ready: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert self.call(ready, "run")[0] == 1
        assert "no demo job" in capsys.readouterr().out


class TestScript:
    def dev(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run([sys.executable, ROOT / "dev", *words], capture_output=True, text=True, check=False)

    def test_help_has_a_line_for_each_command(self) -> None:
        answer = self.dev("--help")
        assert answer.returncode == 0
        for name, command in main.COMMANDS.items():
            assert f"./dev {name:<8} {command.__doc__}\n" in answer.stdout

    @pytest.mark.parametrize("words", [(), ("fly",)])
    def test_a_wrong_call_is_refused(self, words: tuple[str, ...]) -> None:
        assert self.dev(*words).returncode == 2

    def test_only_the_standard_library_is_needed(self) -> None:
        code = "import sys; sys.path.insert(0, sys.argv[1]); import devtools.main, devtools.sizes, devtools.pages"
        bare = subprocess.run(
            [sys.executable, "-S", "-I", "-c", code, ROOT], capture_output=True, text=True, check=False
        )
        assert bare.returncode == 0, bare.stderr

    def test_the_shell_runs_in_the_project_and_gives_exit_codes(self, tmp_path: Path) -> None:
        shell = steps.Shell(tmp_path)
        assert shell([sys.executable, "-c", "open('here', 'w').close()"]) == 0
        assert (tmp_path / "here").exists()
        assert shell([sys.executable, "-c", "raise SystemExit(4)"]) == 4
        assert shell([str(tmp_path / "no-such-program")]) == 127
