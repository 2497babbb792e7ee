"""Work kept between two questions: the answer is that of a job asked anew, whatever was kept, torn or written anew."""

from __future__ import annotations

import os
import pickle
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from setwright.bench import kept_work
from setwright.bench.believed import believed
from setwright.bench.data import document
from setwright.bench.journals import InShop, job_from, open_journal
from setwright.bench.kept_work import InFolder, InMemory, Work, digest, kept_here, name_of
from setwright.bench.next_step import next_of, next_seen
from setwright.instrument.traits import Array
from setwright.planning import hardware
from setwright.records.entries import live
from setwright.records.journal_text import parse
from tests.cli.midway import job_midway

EXAMPLES = Path(__file__).parents[2] / "examples"
WHEN = datetime(2026, 11, 25, 16, 0)


def told(job, entries, keeping=None):
    """The step as JSON, and every number the course holds."""
    found, course = next_seen(job, entries, keeping, "a job")
    numbers = None if course is None else (course.picture.mean.tobytes(), course.picture.covariance.tobytes())
    return document("next", found), numbers


@pytest.fixture
def midway(tmp_path):
    (tmp_path / "job").mkdir()
    return job_midway(tmp_path / "job")


@pytest.fixture(scope="module")
def work(tmp_path_factory):
    """What is kept of a job."""
    keeping, job = InMemory(), job_midway(tmp_path_factory.mktemp("job"))
    next_of(str(job), None, keeping)
    return keeping.get(name_of(str(job)))


@pytest.fixture
def counted(monkeypatch):
    """How often hardware was searched for, and entries were replayed."""
    seen = {"hardware": 0, "entries": 0}
    search, follow = hardware.hardware, kept_work.followed

    def searched(found):
        seen["hardware"] += 1
        return search(found)

    def followed(balance, entries):
        seen["entries"] += len(entries)
        return follow(balance, entries)

    monkeypatch.setattr(hardware, "hardware", searched)
    monkeypatch.setattr(kept_work, "followed", followed)
    return seen


def went_on(job, entries, most):
    """A journal written on as the steps say, with readings near what was believed, as on a bench."""
    chance = np.random.default_rng(5)
    while len(entries) < most:
        found, course = next_seen(job, entries)
        advice = found.advice
        lines = []
        if advice.do == "tune":
            hertz = advice.hertz * (1.0 + 2e-4 * chance.standard_normal())
            lines += [f"did tune string {advice.string + 1} to {advice.hertz:.3f} Hz, heard {hertz:.3f} Hz ± 0.5 c"]
        elif advice.do == "claw":
            lines += [f"did claw {'in' if advice.turns > 0.0 else 'out'} {abs(advice.turns):.3f} turns"]
        elif advice.do == "wedge":
            lines += ["did wedge out" if advice.gap is None else f"did wedge in at {1e3 * advice.gap:.2f} mm"]
        elif advice.do == "read":
            cents = np.array(found.standing.cents) + chance.standard_normal(len(found.wanted))
            lines += [f"read pitch string {i + 1} = {cents[i]:.1f} c ± 0.5 c" for i in advice.strings]
            lines += [f"read rear gap = {1e3 * found.standing.gap:.2f} mm ± 0.05 mm"] * found.gauges
            lines += [f"read claw distance = {1e3 * course.picture.settings.claw.mean():.2f} mm"] * found.gauges
        else:
            return entries
        made = [parse(*line.split(maxsplit=1), WHEN, sure=True) for line in lines]
        entries = (*entries, *(replace(one, number=n) for n, one in enumerate(made, len(entries) + 1)))
    return entries


@pytest.mark.slow
def test_every_step_of_a_job_is_to_the_last_digit_that_of_the_job_asked_anew(midway, tmp_path):
    job = job_from(str(midway))
    entries = went_on(job, live(open_journal(str(midway), None, job)[1].entries), 48)
    places = [InFolder(tmp_path / "kept"), InMemory()]
    balances = 0
    for count in range(len(entries) + 1):
        anew = told(job, entries[:count])
        assert [told(job, entries[:count], place) for place in places] == [anew, anew]
        balances += anew[1] is not None
    assert len(entries) > 40
    assert balances > 30


def test_an_instrument_believed_by_kept_work_is_that_believed_anew(midway, counted):
    keeping = InMemory()
    next_of(str(midway), None, keeping)
    done = dict(counted)
    kept = believed(str(midway), samples=8, keeping=keeping)
    assert counted == done
    assert digest(kept) == digest(believed(str(midway), samples=8))
    assert counted["hardware"] == done["hardware"] + 1


def test_what_trying_out_has_learned_is_kept_for_the_next_step(midway, counted):
    keeping = InMemory()
    believed(str(midway), samples=8, keeping=keeping)
    done = dict(counted)
    next_of(str(midway), None, keeping)
    assert counted == done


@pytest.mark.slow
@pytest.mark.parametrize("name", ["dunlin-heavier", "sanderling-lower", "plover-dive", "lapwing-pull", "curlew-low"])
def test_other_kinds_of_jobs_are_those_asked_anew(name, tmp_path):
    path = str(EXAMPLES / f"{name}.job.toml")
    keeping = InFolder(tmp_path)
    anew = next_of(path)
    for _ in range(2):
        job, found = next_of(path, None, keeping)
        assert (job, document("next", found)) == (anew[0], document("next", anew[1]))
    assert len(list(tmp_path.iterdir())) == 1


def test_only_what_is_new_is_worked_out(midway, counted, tmp_path):
    job = job_from(str(midway))
    entries = live(open_journal(str(midway), None, job)[1].entries)
    keeping = InFolder(tmp_path / "kept")
    told(job, entries[:-1], keeping)
    assert counted == {"hardware": 1, "entries": len(entries) - 1}
    told(job, entries, keeping)
    assert counted == {"hardware": 1, "entries": len(entries)}
    told(job, entries, keeping)
    assert counted == {"hardware": 1, "entries": len(entries)}


def test_what_came_before_and_is_changed_is_replayed_anew(midway, counted):
    job = job_from(str(midway))
    entries = live(open_journal(str(midway), None, job)[1].entries)
    keeping = InMemory()
    told(job, entries, keeping)
    fewer = (*entries[:-2], entries[-1])  # one was struck
    counted["entries"] = 0
    assert told(job, fewer, keeping) == told(job, fewer)
    assert counted["entries"] >= len(fewer)
    last = entries[-1]
    assert last.value is not None
    other = (*entries[:-1], replace(last, value=replace(last.value, si=last.value.si + 1e-9)))
    assert told(job, other, keeping) == told(job, other)


def test_another_job_of_the_same_name_is_worked_out(midway, counted):
    job = job_from(str(midway))
    entries = live(open_journal(str(midway), None, job)[1].entries)
    keeping = InMemory()
    first = told(job, entries, keeping)
    gap = job.want.rear_gap
    other = replace(job, want=replace(job.want, rear_gap=replace(gap, si=gap.si + 1e-4)))
    assert told(other, entries, keeping) == told(other, entries) != first
    assert counted["hardware"] == 3


def test_a_step_said_to_be_done_moves_the_start(midway):
    job = job_from(str(midway))
    entries = live(open_journal(str(midway), None, job)[1].entries)
    keeping = InMemory()
    without = tuple(one for one in entries if one.what != "step")
    told(job, without, keeping)
    assert told(job, entries, keeping) == told(job, entries)


class TestFolder:
    @pytest.fixture
    def kept(self, work, tmp_path):
        keeping = InFolder(tmp_path / "kept")
        keeping.put("a job", work)
        return keeping, "a job", next((tmp_path / "kept").iterdir())

    def test_it_is_of_this_user_alone_and_nothing_else_lies_there(self, kept):
        keeping, name, path = kept
        assert isinstance(keeping.get(name), Work)
        assert path.stat().st_mode & 0o777 == 0o600
        assert path.parent.stat().st_mode & 0o777 == 0o700
        assert len(list(path.parent.iterdir())) == 1

    @pytest.mark.parametrize("at", [0, 31, 40, -1])
    def test_a_damaged_file_is_none(self, kept, at):
        keeping, name, path = kept
        raw = bytearray(path.read_bytes())
        raw[at] ^= 1
        path.write_bytes(raw)
        assert keeping.get(name) is None

    @pytest.mark.parametrize("left", [0, 10, 5000])
    def test_a_torn_file_is_none(self, kept, left):
        keeping, name, path = kept
        path.write_bytes(path.read_bytes()[:left])
        assert keeping.get(name) is None

    def test_the_file_of_another_version_is_none(self, kept, monkeypatch):
        keeping, name, _ = kept
        monkeypatch.setattr(kept_work, "program", lambda: b"another")
        assert keeping.get(name) is None

    @pytest.mark.parametrize("what", [os.system, print, eval, Path, InFolder, next_of, "no work"])
    def test_a_file_that_names_anything_but_data_of_ours_is_none(self, kept, what):
        keeping, name, path = kept
        raw = pickle.dumps(what, 4)
        path.write_bytes(kept_work._sealed(raw) + raw)
        assert keeping.get(name) is None

    def test_where_nothing_can_be_kept_the_answer_is_the_same(self, midway, tmp_path):
        (tmp_path / "file").write_text("")
        nowhere = InFolder(tmp_path / "file")
        answers = [document("next", next_of(str(midway), None, keeping)[1]) for keeping in (nowhere, None)]
        assert answers[0] == answers[1]
        assert (tmp_path / "file").read_text() == ""

    def test_a_full_disk_leaves_nothing_half_written(self, kept, monkeypatch):
        keeping, name, path = kept
        work, raw = keeping.get(name), path.read_bytes()

        def full(self, target):
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(Path, "replace", full)
        keeping.put(name, replace(work, replayed=None))
        assert [one.read_bytes() for one in path.parent.iterdir()] == [raw]

    def test_the_oldest_are_let_go_of(self, kept, tmp_path):
        work = kept[0].get(kept[1])
        few = InFolder(tmp_path / "few", most=2)
        for i in range(4):
            few.put(str(i), work)
            for one in (tmp_path / "few").iterdir():
                os.utime(one, ns=(one.stat().st_atime_ns, one.stat().st_mtime_ns - 10**9))
        assert [few.get(str(i)) is not None for i in range(4)] == [False, False, True, True]


def test_memory_lets_go_of_the_oldest():
    few = InMemory(most=2)
    work = Work(b"", None)
    for name in "abc":
        few.put(name, work)
    assert [few.get(name) for name in "abc"] == [None, work, work]


class TestDigest:
    def test_equal_data_in_other_objects_have_one_digest(self):
        a = np.arange(6.0).reshape(2, 3)
        shared = ("claw", 0.1 + 0.2)
        apart = ("".join(["cl", "aw"]), float("0.30000000000000004"))
        assert digest((a, shared, shared)) == digest((a.copy(), shared, apart))
        assert digest(np.broadcast_to(1.0, (2, 3))) == digest(np.ones((2, 3)))

    @pytest.mark.parametrize("other", [(1.0, "b"), (1, "a"), (1.0000000000000002, "a"), (-1.0, "a"), (1.0, "a", None)])
    def test_other_data_have_another(self, other):
        assert digest((1.0, "a")) != digest(other)

    @pytest.mark.parametrize("other", [[0.0, 1.0], [-0.0, 1.0], [0.0, 1.0, 2.0]])
    def test_of_arrays_too(self, other):
        given: Array = np.array([0.0, np.nextafter(1.0, 2.0)])
        assert digest(given) != digest(np.array(other))


class TestProgram:
    def test_a_file_written_anew_makes_another_program(self, tmp_path, monkeypatch):
        at = tmp_path / "setwright"
        (at / "below").mkdir(parents=True)
        (at / "__init__.py").write_text("")
        (at / "below" / "data.toml").write_text("a = 1\n")
        monkeypatch.setattr(kept_work.setwright, "__file__", str(at / "__init__.py"))
        told = kept_work.program.__wrapped__
        first = told()
        assert told() == first
        (at / "__pycache__").mkdir()
        (at / "__pycache__" / "x.pyc").write_text("")
        assert told() == first
        stat = (at / "below" / "data.toml").stat()
        (at / "below" / "data.toml").write_text("a = 2\n")
        os.utime(at / "below" / "data.toml", ns=(stat.st_atime_ns, stat.st_mtime_ns))  # ctime tells all the same
        second = told()
        assert second != first
        (at / "new.py").write_text("")
        assert told() not in (first, second)
        monkeypatch.setenv("OPENBLAS_CORETYPE", "other")
        assert told() != second


class TestPlace:
    def test_the_variable_names_the_folder_or_none(self, monkeypatch, tmp_path, midway):
        monkeypatch.setenv("SETWRIGHT_CACHE", str(tmp_path / "here"))
        next_of(str(midway), None, kept_here())
        assert len(list((tmp_path / "here").iterdir())) == 1
        monkeypatch.setenv("SETWRIGHT_CACHE", "")
        assert kept_here() is None

    @pytest.mark.parametrize(("named", "there"), [("/some/where", "/some/where/setwright"), ("not/whole", None)])
    def test_otherwise_it_is_where_programs_keep_what_they_may_forget(self, monkeypatch, named, there):
        monkeypatch.delenv("SETWRIGHT_CACHE")
        monkeypatch.setenv("XDG_CACHE_HOME", named)
        place = kept_here()
        assert place is not None
        assert place._folder == (Path(there) if there else Path.home() / ".cache" / "setwright")

    def test_a_visit_and_a_file_are_told_apart(self):
        names = {
            name_of("a.job.toml"),
            name_of("a.job.toml", "j"),
            name_of(InShop("s", "a")),
            name_of(InShop("s", "b")),
        }
        assert len(names) == 4


def test_the_command_keeps_its_work(midway, monkeypatch, tmp_path, capsys):
    from setwright.cli.main import run

    answers = []
    for folder in ("", str(tmp_path / "kept"), str(tmp_path / "kept")):
        monkeypatch.setenv("SETWRIGHT_CACHE", folder)
        assert run(["next", str(midway), "--json"]) == 0
        answers.append(capsys.readouterr().out)
    assert len(set(answers)) == 1
    assert len(list((tmp_path / "kept").iterdir())) == 1
    shutil.rmtree(tmp_path / "kept")
    assert run(["next", str(midway), "--json"]) == 0
    assert capsys.readouterr().out == answers[0]


@pytest.mark.slow
def test_what_is_kept_needs_no_search_to_be_loaded(midway, tmp_path):
    code = (
        "import sys; from setwright.cli.main import run; assert run(['next', sys.argv[1]]) == 0;"
        "print([one for one in ('search', 'solve', 'bands', 'found') if f'setwright.planning.{one}' in sys.modules])"
    )
    environment = {**os.environ, "SETWRIGHT_CACHE": str(tmp_path / "kept")}
    words = [sys.executable, "-c", code, str(midway)]
    loaded = [subprocess.run(words, capture_output=True, text=True, check=True, env=environment) for _ in range(2)]
    told = [one.stdout.splitlines() for one in loaded]
    assert told[0][-1] == "['search', 'solve', 'bands', 'found']"
    assert told[1][-1] == "[]"
    assert told[0][:-1] == told[1][:-1]
