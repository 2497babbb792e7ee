"""The invented shop: whole, the same for the same seed and day, with work that can be gone on with."""

import hashlib
import io
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader

from setwright.bench import attachments, demo_visits
from setwright.bench.day import day_of
from setwright.bench.demo_shop import make_demo
from setwright.bench.journals import InShop, job_from
from setwright.bench.life import life_of
from setwright.bench.next_step import next_of
from setwright.bench.paper import sheet_of_job
from setwright.bench.shop import show_visit, write_journal
from setwright.errors import InputError, NoPlanError
from setwright.instrument.files import read_instrument
from setwright.instrument.jobfile import job_from_bytes
from setwright.records.journal import read_journal

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
TODAY = date(2026, 11, 30)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The shop as it is told in the documentation; not written to."""
    where = tmp_path_factory.mktemp("demo") / "weir"
    return where, make_demo(str(where), 1, TODAY)


def told(where, tmp_path):
    """Everything in a shop that is neither an id nor made of one: names, versions, journals."""
    out = []
    for one in day_of(str(where)).visits:
        life = life_of(str(where), one.instrument)
        about = (life.instrument.name, life.instrument.serial, life.owner.name, life.recheck, life.open_work)
        out.append(about)
        for visit in life.visits:
            row = visit.visit
            path = tmp_path / f"{len(list(tmp_path.glob('*.txt')))}.txt"
            write_journal(str(where), row.id, str(path))
            parts = [(part.name, part.stock) for part in visit.parts]
            out.append((row.kind, row.came, row.handed_back, row.job_file, path.read_text(), parts, visit.readings))
    return out


def test_it_is_whole_and_full(ask, demo, monkeypatch):
    where, made = demo
    monkeypatch.setenv("SETWRIGHT_SHOP", str(where))
    code, out, err = ask("shop", "check")
    assert (code, err) == (0, "")
    assert f"{made.instruments} instruments, {made.visits} visits, {made.entries} entries, 1 file" in out
    assert made.instruments == 8
    assert made.open_visits == len(day_of(str(where)).visits) == 7
    assert made.visits > 2 * made.open_visits
    for words in (("instruments",), ("owners",), ("people",), ("parts", "--low"), ("climate",), ("specifications",)):
        assert ask("shop", *words)[0] == 0


def test_a_visit_of_the_past_names_its_strings_once(demo):
    where, _ = demo
    shop = str(where)
    (life,) = [life_of(shop, one.instrument) for one in day_of(shop).visits if one.name == "Kestrel"]
    yearly = next(one.visit for one in life.visits if one.visit.kind == "yearly")
    parts = sheet_of_job(InShop(shop, yearly.id)).parts
    assert [(one.what, one.amount) for one in parts if "string" in one.what] == [("string set .010", "1 set")]


@pytest.mark.slow
def test_the_same_seed_and_day_make_the_same_shop(demo, tmp_path):
    where, _ = demo
    make_demo(str(tmp_path / "again"), 1, TODAY)
    assert told(tmp_path / "again", tmp_path) == told(where, tmp_path)
    make_demo(str(tmp_path / "other"), 2, TODAY)
    assert told(tmp_path / "other", tmp_path) != told(where, tmp_path)


@pytest.mark.slow
def test_all_that_is_open_can_be_gone_on_with(demo):
    where, _ = demo
    for one in day_of(str(where)).visits:
        source = InShop(str(where), one.id)
        if one.name == "Knot":  # its springs are too weak, by what its job is for
            with pytest.raises(NoPlanError):
                next_of(source)
        else:
            assert next_of(source)[1].kind in ("hardware", "balance", "strings")


def test_no_visit_lies_in_the_future_or_before_the_shop(demo):
    where, _ = demo
    for one in day_of(str(where)).visits:
        visits = life_of(str(where), one.instrument).visits
        came = [visit.visit.came for visit in visits]
        assert came == sorted(came, reverse=True)
        assert "2023" <= came[-1] <= came[0] <= "2026-11-30 23"
        assert [visit.visit.state for visit in visits] == ["open"] + ["closed"] * (len(visits) - 1)
        for visit in visits[1:]:
            assert visit.visit.came[:10] < visit.visit.handed_back[:10] <= "2026-11-30"
            assert all(reading.left is not None for reading in visit.readings if reading.wanted is not None)


def test_the_sheet_that_was_handed_over_is_there(demo):
    where, _ = demo
    kestrel = next(one for one in day_of(str(where)).visits if one.name == "Kestrel")
    floated = next(one for one in life_of(str(where), kestrel.instrument).visits if one.visit.kind == "floating")
    assert [one.kind for one in floated.sheets] == ["owner", "shop", "tag"]
    (kept,) = floated.attachments
    _, pdf = attachments.attachment_in(str(where), kept.id)
    assert hashlib.sha256(pdf).hexdigest() == floated.sheets[0].sha256
    assert "Kestrel" in PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert [one.name for one in floated.parts] == ["string set .010", "strip shim .030 in"]
    shown = show_visit(str(where), floated.visit.id)
    recheck = next(one.text for one in shown.journal.entries if one.text.startswith("recheck: "))
    assert date.fromisoformat(recheck[9:]) - date.fromisoformat(floated.visit.came[:10]) == date(2027, 2, 25) - date(
        2026, 11, 24
    )


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.job.toml")), ids=lambda path: path.name.partition("-")[0])
def test_a_yearly_job_wants_what_was_found(path):
    raw = path.read_bytes()
    whole = job_from(str(path))
    instrument = read_instrument(EXAMPLES / whole.instrument_path)
    job = job_from_bytes(demo_visits.yearly_job(raw), "yearly.job.toml", instrument)
    assert job.found == whole.found
    wanted, found = job.want.string_height, job.found.string_height
    assert wanted.fret == found.fret
    for want, was in zip(wanted.amounts, found.amounts, strict=True):
        assert want.si == pytest.approx(was.si)
    assert job.want.bridge == job.found.bridge


def test_a_finished_journal_is_moved_whole():
    path = EXAMPLES / "kestrel-finished.journal.txt"
    text = demo_visits.finished_moved(path.read_bytes(), date(2026, 11, 24))
    plain = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    assert text.splitlines() == plain
    assert len(read_journal(path).entries) == len(plain)


@pytest.mark.slow
def test_the_command_makes_it_or_leaves_nothing(ask, data, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for words, said in (
        (("a", "--seed", "-1"), "a seed is a whole number"), (("a", "--examples", "none"), "holds no demo jobs"),
        (("a", "--today", "yesterday"), "is no day"),
    ):  # fmt: skip
        code, out, err = ask("shop", "demo", *words)
        assert (code, out) == (2, "")
        assert said in " ".join(err.split())
        assert not (tmp_path / "a").exists()
    code, out, _ = ask("shop", "demo", "a", "--today", "2026-11-30")
    assert code == 0
    assert out.startswith("Weir Lane Bench is made: a, 8 instruments, ")
    code, _, err = ask("shop", "demo", "a")
    assert code == 2
    assert "not empty" in err
    with pytest.raises(InputError, match="not empty"):
        make_demo(str(tmp_path / "a"))
    assert data("shop", "demo", tmp_path / "b", "--examples", EXAMPLES)["open_visits"] == 7
