"""setwright shop: files that are attached and taken out, and house specifications."""

import io
import sys

import pytest

from setwright.bench import attachments, house
from setwright.errors import InputError
from tests.records.photos import JPEG

LINES = """# What Weir Lane Bench holds itself to.

string height strings 1 to 3 at fret 12 = 1.6 mm ± 0.25 mm
relief held at 1 and 17, read at 8 = .008 in to .012 in
relief under a straightedge on 1 and 17, read at 8 = at most 0.3 mm
octave error string 1 = at most 2 c, source: what most ears let pass
rear gap treble = 2.6 ± 0.25 mm
pitch string 2 = 0 c +/- 2 c
pitch string 3 = -2 to 2 c
pitch string 6 harmonic at fret 12 = at least -3 c
first-fret clearance string 1 = at least .010 in
string height string 1 at fret 7 with a capo on 1 = .03 in to .05 in
string height every string at fret 12 = at most 3 mm
"""
"""What each line means, worked out by hand (1 in = 25.4 mm): low, nominal, high."""
MEANT = [
    (1.35e-3, 1.6e-3, 1.85e-3), (1.35e-3, 1.6e-3, 1.85e-3), (1.35e-3, 1.6e-3, 1.85e-3),
    (0.2032e-3, None, 0.3048e-3), (None, None, 0.3e-3), (None, None, 2.0), (2.35e-3, 2.6e-3, 2.85e-3),
    (-2.0, 0.0, 2.0), (-2.0, None, 2.0), (-3.0, None, None), (0.254e-3, None, None), (0.762e-3, None, 1.27e-3),
    (None, None, 3e-3),
]  # fmt: skip


def test_lines_mean_what_they_say():
    items = house.items_of(LINES)
    for item, meant in zip(items, MEANT, strict=True):
        for found, wanted in zip((item.low, item.nominal, item.high), meant, strict=True):
            assert found == (wanted if wanted is None else pytest.approx(wanted, rel=1e-9, abs=1e-12))
    assert [one.place.string for one in items[:3]] == [1, 2, 3]
    assert (items[3].convention.hold_low, items[3].convention.read_at, items[4].convention.straightedge) == (1, 8, True)
    assert (items[-1].place.string, items[-1].place.fret) == (None, 12)
    assert items[5].source == "what most ears let pass"
    assert [one.kind for one in items[:8]] == ["length"] * 5 + ["cents", "length", "cents"]


def test_lines_written_from_items_mean_the_same():
    items = house.items_of(LINES)
    assert house.items_of(house.text_of(items)) == items


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("", "nothing is specified"), ("# only this", "nothing is specified"), ("rear gap", "line 1: .*has no limits"),
        ("rear gap = 2.6 mm", "how far it may be off"), ("rear gap = 3 mm to 2 mm", "does not rise"),
        ("rear gap = 2.6", "line 1: "), ("nonsense = 2 mm ± 1 mm", "is not known"),
        ("rear gap = 900 mm ± 1 mm", "line 1: "), ("wedge loose = at most yes", "cannot be specified"),
        ("string height strings 3 to 1 at fret 12 = 1.6 mm ± 0.1 mm", "do not rise"),
        ("\n\nrear gap = 2.6 mm ± 0 mm", "line 3: "), ("x" * 501, "501 characters"), ("\n" * 1001, "too many"),
        ("rear gap = at most 3 mm, slack", "cannot be specified"), ("rear gap = 1 to 2", "line 1: "),
    ],
)  # fmt: skip
def test_bad_lines(line, said):
    with pytest.raises(InputError, match=said):
        house.items_of(line)


def test_a_new_version_never_alters_an_old_one(ask, data, weir, tmp_path, monkeypatch):
    assert "no house specification yet" in ask("shop", "specifications")[1]
    (tmp_path / "h.txt").write_text(LINES)
    code, out, _ = ask("shop", "specify", "house", "h.txt", "--by", "Bo", "--note", "to begin with")
    assert code == 0
    assert out.startswith("house, version 1\nby      Bo\n")
    assert "  relief held at 1 and 17, read at 8 = .008 in to .012 in\n" in out
    first = data("shop", "specification", "house")["specification"]
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"rear gap = at most 3 mm\n")))
    second = data("shop", "specify", "house", "-")["specification"]
    assert (second["number"], len(second["items"])) == (2, 1)
    assert data("shop", "specification", first["id"][-8:])["specification"] == first
    assert data("shop", "specification", "HOUSE")["specification"] == second
    assert [one["number"] for one in data("shop", "specifications")["specifications"]] == [2, 1]
    assert ask("shop", "specifications")[1].splitlines()[1].split()[:2] == ["house", "2"]
    assert ask("shop", "specification", "none")[0] == 2
    (tmp_path / "bad.txt").write_bytes(b"\xff\xfe rear")
    (tmp_path / "big.txt").write_bytes(b"#" * 1_000_001)
    for name, said in (("none.txt", "cannot be read"), ("bad.txt", "not text in UTF-8"), ("big.txt", "are no spec")):
        code, _, err = ask("shop", "specify", "house", name)
        assert code == 2
        assert said in err


def test_files_are_attached_listed_and_taken_out(ask, data, kestrel, tmp_path):
    (tmp_path / "front.jpg").write_bytes(JPEG)
    (tmp_path / "words.txt").write_bytes(b"what the owner wrote")
    instrument = data("shop", "visit", kestrel)["instrument"]["id"]
    assert "No file is kept there" in ask("shop", "files", "--visit", kestrel)[1]
    code, out, _ = ask("shop", "attach", "front.jpg", "--visit", kestrel, "--by", "Bo")
    assert code == 0
    assert out.startswith("front.jpg is kept: photo, image/jpeg, id ")
    kept = data("shop", "attach", "words.txt", "--kind", "other", "--instrument", instrument)["file"]
    (photo,) = data("shop", "files", "--visit", kestrel)["files"]
    assert (photo["who"], photo["visit"]) == ("Bo", kestrel)
    assert ask("shop", "files", "--instrument", instrument)[1].split()[:2] == ["other", "words.txt"]
    out = data("shop", "take-out", kept["id"][-8:], "back.txt")
    assert out["size"] == 20
    assert (tmp_path / "back.txt").read_bytes() == b"what the owner wrote"
    assert "words.txt is written into again.txt, 20 bytes" in ask("shop", "take-out", kept["id"], "again.txt")[1]
    for words, said in (
        (("take-out", kept["id"], "back.txt"), "is there already"), (("take-out", kept["id"], ""), "no file is named"),
        (("take-out", kept["id"], "no/where.txt"), "cannot be written"), (("take-out", "abcdefgh", "x"), "no file"),
        (("take-out", "ab", "x"), "names no file"), (("files",), "name one of them"),
        (("attach", "words.txt", "--visit", kestrel), "is no photo"), (("attach", "words.txt"), "name one of them"),
        (("attach", "none.jpg", "--visit", kestrel), "cannot be read"),
    ):  # fmt: skip
        code, out, err = ask("shop", *words)
        assert (code, out) == (2, "")
        assert said in err
    assert not (tmp_path / "x").exists()


def test_what_came_through_a_browser_is_attached(weir, kestrel, tmp_path):
    kept = attachments.attach(str(weir), "other", "note.txt", io.BytesIO(b"typed"), visit=kestrel)
    assert attachments.attachment_in(str(weir), kept.id) == (kept, b"typed")
    with pytest.raises(InputError, match="leads out of the shop"):
        attachments.attach(str(weir), "other", "../note.txt", io.BytesIO(b"typed"), visit=kestrel)
    (weir / "content" / kept.sha256[:2] / kept.sha256).unlink()
    with pytest.raises(InputError, match="is missing"):
        attachments.take_out(str(weir), kept.id, str(tmp_path / "gone.txt"))
    assert not (tmp_path / "gone.txt").exists()
