"""setwright sheet: where the PDF goes, what is refused, and that nothing is left half written."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from pypdf import PdfReader

EXAMPLES = Path(__file__).parents[2] / "examples"
Ask = Callable[..., tuple[int, str, str]]


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml", "kestrel-finished.journal.txt"):
        shutil.copy(EXAMPLES / name, tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SETWRIGHT_SHOP", raising=False)
    return tmp_path / "kestrel-float.job.toml"


def pages(path: Path) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(path.read_bytes())).pages]


def test_the_whole_sheet_beside_the_job(job: Path, ask: Ask) -> None:
    code, out, err = ask("sheet", job.name, "--journal", "kestrel-finished.journal.txt", "--no-plan")
    assert (code, err) == (0, "")
    assert out == "Put into kestrel-float.sheet.pdf.\n"
    owner, shop, tag = pages(job.parent / "kestrel-float.sheet.pdf")
    assert "A. Marsh" in owner
    assert "G3 +0.8 ± 0.8 c" in shop
    assert "26-117" in tag


def test_what_the_desk_adds(job: Path, ask: Ask) -> None:
    desk = ("--shop-name", "Weir Lane Bench", "--shop-line", "3 Weir Lane", "--owner", "J. Ott", "--case", "7",
            "--recheck", "2027-03-01", "--link", "https://bench.example/7")  # fmt: skip
    code, _, _ = ask("sheet", job.name, "--save", "a.pdf", "--kind", "owner", "--paper", "letter", *desk)
    assert code == 0
    (owner,) = pages(job.parent / "a.pdf")
    for text in ("Weir Lane Bench", "3 Weir Lane", "J. Ott", "1 Mar 2027"):
        assert text in owner
    assert "Not done" not in owner


def test_units_and_plan(job: Path, ask: Ask) -> None:
    words = ("--journal", "kestrel-finished.journal.txt", "--save", "a.pdf", "--kind", "shop", "--units", "inch")
    assert ask("sheet", job.name, *words)[0] == 0
    (shop,) = pages(job.parent / "a.pdf")
    assert ".062 ± .004 in" in shop
    assert "Frets levelled, by wish of the owner." in shop


def test_nothing_is_overwritten_without_force(job: Path, ask: Ask) -> None:
    (job.parent / "a.pdf").write_text("mine")
    code, out, err = ask("sheet", job.name, "--save", "a.pdf", "--no-plan")
    assert (code, out) == (2, "")
    assert err == ("setwright: --save: a.pdf stands there already; choose another name, or replace it with --force.\n")
    assert (job.parent / "a.pdf").read_text() == "mine"
    assert ask("sheet", job.name, "--save", "a.pdf", "--no-plan", "--force")[0] == 0
    assert (job.parent / "a.pdf").read_bytes().startswith(b"%PDF-")
    assert not [one for one in job.parent.iterdir() if one.name.startswith(".")]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--save", ""), "--save: '' is no name of a file; write for instance --save kestrel.pdf."),
        (("--save", "."), "--save: . is a folder or a device, not a file"),
        (("--save", "nowhere/a.pdf"), "--save: nowhere/a.pdf cannot be written: no such file or directory"),
        (("--recheck", "soon"), "--recheck: 'soon' is no day; write it as 2027-02-25."),
        (("--link", "x" * 700), "a link of 700 characters makes no QR code"),
        (("--drawing", "none.svg"), "--drawing: 'none.svg' cannot be read: no such file or directory"),
        (("--drawing", "kestrel-float.job.toml"), "--drawing: kestrel-float.job.toml is no SVG drawing"),
        (("--kind", "card"), "'card' is not one of 'all', 'owner', 'shop', 'tag'"),
    ],
)
def test_what_is_refused(job: Path, ask: Ask, words: tuple[str, ...], said: str) -> None:
    before = sorted(job.parent.iterdir())
    code, out, err = ask("sheet", job.name, "--no-plan", *words)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
    assert sorted(job.parent.iterdir()) == before


def test_a_drawing_of_the_job_goes_with_it(job: Path, ask: Ask) -> None:
    assert ask("heights", job.name, "--samples", "32", "--svg", "h.svg")[0] == 0
    words = ("--drawing", "h.svg", "--save", "a.pdf", "--kind", "shop", "--no-plan")
    assert ask("sheet", job.name, *words)[0] == 0
    assert "Heights: Kestrel" in pages(job.parent / "a.pdf")[1]


@pytest.mark.slow
def test_all_drawings_of_the_job_go_with_it(job: Path, ask: Ask) -> None:
    assert ask("sheet", job.name, "--drawings", "--save", "a.pdf", "--kind", "shop", "--no-plan")[0] == 0
    found = pages(job.parent / "a.pdf")
    titles = ("Side view", "Balance", "Ranges of the arm", "Heights", "Notes")
    assert len(found) == 1 + len(titles)
    for title, page in zip(titles, found[1:], strict=True):
        assert f"{title}: Kestrel" in page


@pytest.mark.slow
def test_what_cannot_be_drawn_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    from setwright.bench import paper_drawings
    from setwright.errors import InputError

    def refused(*_: object, **__: object) -> None:
        raise InputError("not this one.")

    monkeypatch.setattr(paper_drawings, "notes_of", refused)
    found = paper_drawings.drawings_of_job(str(EXAMPLES / "curlew-low.job.toml"), "inch", 32)
    assert [one.title.partition(":")[0] for one in found] == ["Side view", "Heights"]


def test_standard_output_takes_the_bytes(job: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    from setwright.cli.main import run

    assert run(["sheet", str(job), "--save", "-", "--kind", "tag", "--no-plan"]) == 0
    out = capfdbinary.readouterr().out
    assert out.startswith(b"%PDF-")
    assert len(PdfReader(io.BytesIO(out)).pages) == 1
